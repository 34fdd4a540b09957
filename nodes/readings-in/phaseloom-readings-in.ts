/** The node "readings in": config in, messages out; the work is in door.ts and session.ts. */
import type { Node, NodeAPI } from 'node-red';
import { configNode, type NetworkNode } from '../kit/config-nodes';
import type { FlowMessage } from '../kit/serve';
import { StatusLight } from '../kit/status';
import { asError, Trouble } from '../kit/trouble';
import { showVitalSigns } from '../kit/vital-signs';
import type { LedgerNode } from '../ledger/ledger';
import { Adoption } from './adoption';
import { brokerMark, type CoreBroker, connectionOptions } from './broker-options';
import { Door } from './door';
import type { DoorOutput, EntryOutcome, ReadingsInNode } from './door-contract';
import { FaceMaker } from './face';
import { borrowedSession, defaultClientId, instanceId, SessionMemory, type SessionStore } from './identity';
import type { IntakeRules } from './intake';
import { ledgerOutage } from './ledger-outage';
import { type Mapping, makeMapping } from './mapping';
import { batches, rejected, singles } from './messages';
import { NearMatch } from './near-match';
import { RateLimit } from './rate-limit';
import { Session, type SessionListener } from './session';
import { filtersOf, type ReadingsInDef, readSettings, type Settings } from './settings';
import { SparkplugDoor } from './sparkplug';

const START_DEADLINE_MS = 10_000;

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-readings-in', function (this: ReadingsInNode, def: ReadingsInDef) {
    RED.nodes.createNode(this, def);
    const light = new StatusLight(this);
    try {
      run(RED, this, open(RED, this, readSettings(def), def), light);
    } catch (cause) {
      refuseAll(this, asError(cause));
      light.show('red', 'ring', RED._('phaseloom-readings-in.status.config'));
      this.on('close', () => light.close());
    }
  });
};

/** The door and, when a broker is chosen, its session. @throws Trouble for a configuration that cannot work */
function open(RED: NodeAPI, node: ReadingsInNode, settings: Settings, def: ReadingsInDef): Door {
  const ledger = configNode<LedgerNode>(RED, def.ledger);
  if (!ledger) throw new Trouble('config', 'no ledger is chosen: readings must be stored before they are acknowledged');
  if (settings.group !== '' && !ledger.isShared) {
    throw new Trouble(
      'config',
      'a share group divides the readings among workers, and they need one ledger in PostgreSQL: choose such a ledger, or leave the group empty',
    );
  }
  const mapping = settings.mapping ? makeMapping(RED, node, settings.mapping) : undefined;
  const maxEntries = RED.settings.nodeMessageBufferMaxLength || 100_000;
  const limits = { ...settings, maxEntries, id: node.id, instance: instanceOf(RED, settings) };
  const sparkplug = settings.format === 'sparkplug' ? sparkplugOf(node, mapping, () => door.session) : undefined;
  const taking: Mapping | undefined = sparkplug ? (arrival, rules) => sparkplug.take(arrival, rules) : mapping;
  const door: Door = new Door(limits, rulesOf(RED, settings, def), taking, ledger, outputOf(node, settings));
  if (settings.perMinute > 0) {
    const limit = new RateLimit(settings.perMinute, settings.limitBy);
    door.limit = (taken, item) => limit.apply(taken, item);
  }
  door.staleSources = () => sparkplug?.stale ?? 0;
  if (def.broker) openSessions(RED, node, settings, def, door);
  return door;
}

function sparkplugOf(node: Node, mapping: Mapping | undefined, session: () => Session | undefined): SparkplugDoor {
  return SparkplugDoor.open(mapping, {
    died: (source) =>
      node.warn(`${source} of Sparkplug has gone offline (its death came): what it said last may no longer hold`),
    publish: (topic, bytes) => session()?.publish(topic, bytes),
  });
}

function rulesOf(RED: NodeAPI, { maxBytes, futureToleranceS }: Settings, def: ReadingsInDef): IntakeRules {
  const networkNode = configNode<NetworkNode>(RED, def.network);
  if (def.network && !networkNode) throw new Trouble('config', 'the chosen network does not exist');
  if (networkNode?.problem) throw new Trouble('config', networkNode.problem);
  const terminals = networkNode?.network?.terminals;
  return { maxBytes, futureToleranceS, ...(terminals ? { terminals, nearMatch: new NearMatch(terminals) } : {}) };
}

function openSessions(RED: NodeAPI, node: ReadingsInNode, settings: Settings, def: ReadingsInDef, door: Door): void {
  const broker = configNode<CoreBroker>(RED, def.broker);
  if (!broker?.brokerurl) throw new Trouble('config', 'the chosen MQTT broker does not exist');
  const instance = instanceOf(RED, settings);
  const filters = filtersOf(settings, broker);
  const own = settings.clientId || defaultClientId(instance, node.id);
  const sessionOf = (clientId: string, memory: SessionStore, arrived: SessionListener['arrived']) => {
    const options = connectionOptions(broker, { ...settings, clientId, filters });
    const note = (text: string) => {
      node.log(text);
      door.changed();
    };
    const wanted = { clientId, broker: brokerMark(broker), filters };
    return new Session(broker.brokerurl, options, wanted, memory, { arrived, warn: (text) => node.warn(text), note });
  };
  const memory = new SessionMemory(RED.settings.userDir ?? process.cwd(), node.id);
  door.session = sessionOf(own, memory, (packet, held) => door.arrived(packet, held));
  door.adopts = (sharing) =>
    new Adoption(sharing, {
      scope: `session:${node.id}:${brokerMark(broker)}`,
      instance,
      clientId: own,
      open: (clientId) =>
        sessionOf(clientId, borrowedSession({ clientId, broker: brokerMark(broker), filters }), (packet, held) => {
          door.adoption?.read();
          return door.arrived(packet, held);
        }),
      isBusy: () => door.pending >= settings.batchSize,
      note: (text) => node.log(text),
    });
}

const instanceOf = (RED: NodeAPI, { instance }: Settings): string =>
  instance || instanceId(RED.settings.userDir ?? process.cwd());

function outputOf(node: Node, { sendsBatches }: Settings): DoorOutput {
  const form = sendsBatches ? batches : singles;
  // One by one: of an array of messages Node-RED would clone every one but the first.
  return {
    readings: (sent) => {
      for (const msg of form(sent)) node.send([msg, null]);
    },
    rejections: (sent) => {
      for (const msg of rejected(sent)) node.send([null, msg]);
    },
    trouble: (error) => node.error(error),
  };
}

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

async function enter(door: Door, payload: unknown, topic: string, msg?: FlowMessage): Promise<EntryOutcome> {
  const bytes = bytesOf(payload);
  // A reading that another node of ours made needs no mapping.
  const isMapped = (payload as { kind?: unknown } | null | undefined)?.kind === 'reading';
  return new Promise((stored, failed) => door.enter({ topic, bytes, isMapped }, { msg, stored, failed }));
}

function bytesOf(payload: unknown): Buffer {
  if (Buffer.isBuffer(payload)) return payload;
  if (typeof payload === 'string') return Buffer.from(payload);
  try {
    return Buffer.from(JSON.stringify(payload) ?? '');
  } catch (cause) {
    const why = (cause as Error).message.split('\n')[0];
    throw new Trouble(
      'payload-not-json',
      `msg.payload cannot be written as JSON (${why}); give a reading or an array of readings`,
    );
  }
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
