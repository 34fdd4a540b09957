/** The node "alert desk": findings and operators' actions in, alert transitions out. */
import type { Node, NodeAPI, NodeDef } from 'node-red';
import type { AlertDelays } from '../../lib/alert-life-cycle';
import type { Alert } from '../../lib/records';
import { configNode } from '../kit/config-nodes';
import { type NumberSetting, numberOr } from '../kit/config-values';
import { startOrRefuse } from '../kit/evidence';
import type { FlowMessage } from '../kit/serve';
import type { StatusLight } from '../kit/status';
import { asError, Trouble } from '../kit/trouble';
import { underWay } from '../kit/under-way';
import { WhenOpen } from '../kit/when-open';
import type { LedgerNode } from '../ledger/ledger';
import { type ActionRequest, readAction } from './action';
import { take } from './intake';
import { OpenDesk } from './open-desk';

interface AlertDeskDef extends NodeDef {
  ledger: string;
  onDelayS: NumberSetting;
  /** off-delay, seconds */
  holdS: NumberSetting;
  perMinute: NumberSetting;
}

/** What the board uses. */
interface AlertDeskNode extends Node {
  /** what a message with this payload would do: {action, key, by, reason?, minutes?}; rejects with a Trouble (code, message) */
  act(request: ActionRequest): Promise<Alert>;
  /** alerts that are not normal */
  open(): Promise<readonly Alert[]>;
}

const LONGEST_DELAY_S = 86_400;
const nowUs = () => Date.now() * 1000;

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-alert-desk', function (this: AlertDeskNode, def: AlertDeskDef) {
    RED.nodes.createNode(this, def);
    startOrRefuse(RED, this, (light) => run(RED, this, light, def));
  });
};

function run(RED: NodeAPI, node: AlertDeskNode, light: StatusLight, def: AlertDeskDef): void {
  const ledgerNode = configNode<LedgerNode>(RED, def.ledger);
  if (!ledgerNode) throw new Trouble('config', 'no ledger is chosen: alerts must outlive a restart');
  const bounds = { least: 0, most: LONGEST_DELAY_S };
  const delays: AlertDelays = {
    onS: numberOr(0, 'onDelayS', def.onDelayS, bounds),
    offS: numberOr(10, 'holdS', def.holdS, bounds),
  };
  const perMinute = numberOr(60, 'perMinute', def.perMinute, { least: 1, most: 100_000 });
  const desk = new WhenOpen(
    async () => OpenDesk.at(await ledgerNode.ready(), { RED, node, light, delays, perMinute, nowUs }),
    (cause) => {
      node.error(cause.message);
      light.show('red', 'ring', RED._('phaseloom-alert-desk.status.ledger'));
    },
  );
  serveDesk(node, light, desk);
}

function serveDesk(node: AlertDeskNode, light: StatusLight, when: WhenOpen<OpenDesk>): void {
  node.act = async (request) => {
    const { key, action } = readAction(request, nowUs());
    return (await when.get()).desk.act(key, action);
  };
  node.open = async () => (await when.get()).desk.open();
  node.on('input', (msg, _send, done) => {
    const taken = when.get().then(({ desk }) => take(desk, msg as FlowMessage, nowUs()));
    underWay(Array.isArray(msg.payload) ? msg.payload.length : 1, taken).then(
      () => done(),
      (cause) => done(asError(cause)),
    );
  });
  node.on('close', (done: () => void) => {
    light.close();
    when
      .close()
      .then((open) => open?.close())
      .then(done, () => done());
  });
}
