/** The node "readings in": config in, messages out; the work is in door.ts and session.ts. */
import type { Node, NodeAPI } from 'node-red';
import type { FlowMessage } from '../kit/serve';
import { StatusLight } from '../kit/status';
import { asError } from '../kit/trouble';
import { showVitalSigns } from '../kit/vital-signs';
import type { Door } from './door';
import type { ReadingsInNode } from './door-contract';
import { enter } from './entry';
import { FaceMaker } from './face';
import { ledgerOutage } from './ledger-outage';
import { openDoor } from './open-door';
import { type ReadingsInDef, readSettings } from './settings';

const START_DEADLINE_MS = 10_000;

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-readings-in', function (this: ReadingsInNode, def: ReadingsInDef) {
    RED.nodes.createNode(this, def);
    const light = new StatusLight(this);
    try {
      run(RED, this, openDoor(RED, this, readSettings(def), def), light);
    } catch (cause) {
      refuseAll(this, asError(cause));
      light.show('red', 'ring', RED._('phaseloom-readings-in.status.config'));
      this.on('close', () => light.close());
    }
  });
};

function run(RED: NodeAPI, node: ReadingsInNode, door: Door, light: StatusLight): void {
  const face = new FaceMaker(door);
  const show = () => {
    const { fill, shape, text, values } = face.now();
    light.show(fill, shape, RED._(`phaseloom-readings-in.status.${text}`, values));
  };
  const outage = ledgerOutage(RED, node, door);
  const ticking = setInterval(() => {
    show();
    outage.look();
  }, 1000);
  show();
  door.changed = show;
  const cancel = whenFlowsRun(RED, () => void door.start());
  const counters = () => {
    const { mostPending: _most, ...counts } = door.counts;
    const { resent } = door.dispatch;
    return { ...counts, ...door.session?.facts, resent, ledgerFailures: door.storing.failures };
  };
  const gauges = () => ({
    pending: door.pending,
    staleSources: door.staleSources(),
    mostPending: door.counts.mostPending,
    ...(door.dispatch.lanes ? { lanesHeld: door.dispatch.lanes.held, workers: door.dispatch.lanes.workers } : {}),
  });
  node.counters = () => ({ ...counters(), ...gauges() });
  showVitalSigns(node, { counters, gauges, trouble: () => door.trouble });
  node.enter = (payload, topic = '') => enter(door, payload, topic);
  node.on('input', (msg, _send, done) => {
    const given = msg as FlowMessage;
    const topic = typeof given.topic === 'string' ? given.topic : '';
    enter(door, given.payload, topic, given).then(() => done(), done);
  });
  node.on('close', (removed: boolean, done: () => void) => {
    clearInterval(ticking);
    outage.close();
    cancel();
    light.close();
    door.close(removed).then(done, done);
  });
}

/** Sending before every node of the flow is there would send to nobody. Returns the way to call it off. */
function whenFlowsRun(RED: NodeAPI, begin: () => void): () => void {
  const cancel = () => {
    clearTimeout(timer);
    RED.events.removeListener('flows:started', start);
  };
  const start = () => {
    cancel();
    begin();
  };
  const timer = setTimeout(start, START_DEADLINE_MS);
  RED.events.on('flows:started', start);
  return cancel;
}

function refuseAll(node: Node, problem: Error): void {
  node.error(problem);
  node.on('input', (_msg, _send, done) => done(problem));
}
