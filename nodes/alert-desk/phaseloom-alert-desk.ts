/** The node "alert desk": findings and operators' actions in, alert transitions out. */
import type { Node, NodeAPI, NodeDef } from 'node-red';
import type { OperatorAction } from '../../lib/alert-life-cycle';
import { conditionsOf } from '../../lib/alert-rules';
import type { Alert, Finding, Rejection } from '../../lib/records';
import { configNode } from '../kit/config-nodes';
import { type NumberSetting, numberOr } from '../kit/config-values';
import { startOrRefuse } from '../kit/evidence';
import type { FlowMessage } from '../kit/serve';
import type { StatusLight } from '../kit/status';
import { asError, Trouble } from '../kit/trouble';
import type { LedgerNode } from '../ledger/ledger';
import { isAction, readAction } from './action';
import { Caller } from './caller';
import { Desk } from './desk';

interface AlertDeskDef extends NodeDef {
  ledger: string;
  holdS: NumberSetting;
  perMinute: NumberSetting;
}

/** What the board uses. */
interface AlertDeskNode extends Node {
  act(key: string, action: OperatorAction): Promise<Alert>;
  open(): Promise<readonly Alert[]>;
}

const KINDS = ['identification', 'rotation', 'comparison', 'rejection'];
const nowUs = () => Date.now() * 1000;

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-alert-desk', function (this: AlertDeskNode, def: AlertDeskDef) {
    RED.nodes.createNode(this, def);
    startOrRefuse(RED, this, (light) => run(RED, this, light, def));
  });
};

function run(RED: NodeAPI, node: AlertDeskNode, light: StatusLight, def: AlertDeskDef): void {
  const ledger = configNode<LedgerNode>(RED, def.ledger);
  if (!ledger) throw new Trouble('config', 'no ledger is chosen: alerts must outlive a restart');
  const holdS = numberOr(10, 'holdS', def.holdS, { least: 0, most: 86_400 });
  const perMinute = numberOr(60, 'perMinute', def.perMinute, { least: 1, most: 100_000 });
  const opening = open(RED, node, light, ledger, holdS, perMinute);
  opening.catch((cause) => {
    node.error(asError(cause).message);
    light.show('red', 'ring', RED._('phaseloom-alert-desk.status.ledger'));
  });
  node.act = async (key, action) => (await opening).desk.act(key, action);
  node.open = async () => (await opening).desk.open();
  node.on('input', (msg, _send, done) => {
    opening
      .then(({ desk }) => take(desk, (msg as FlowMessage).payload))
      .then(
        () => done(),
        (cause) => done(asError(cause)),
      );
  });
  node.on('close', (done: () => void) => {
    light.close();
    opening.then(({ desk, caller }) => desk.close().then(() => caller.close())).then(done, () => done());
  });
}

async function open(
  RED: NodeAPI,
  node: AlertDeskNode,
  light: StatusLight,
  ledgerNode: LedgerNode,
  holdS: number,
  perMinute: number,
) {
  const ledger = await ledgerNode.ready();
  const trouble = (cause: Error) => node.error(cause.message);
  const show = async () => {
    const alerts = await ledger.alerts({ openOnly: true });
    const unseen = alerts.filter((a) => a.state === 'unacknowledged' || a.state === 'returned-unacknowledged').length;
    const fill = unseen > 0 ? 'red' : alerts.length > 0 ? 'yellow' : 'green';
    const words = caller.held > 0 ? 'held' : 'open';
    light.show(
      fill,
      'dot',
      RED._(`phaseloom-alert-desk.status.${words}`, { open: alerts.length, unseen, held: caller.held }),
    );
  };
  const send = (alert: Alert) => {
    node.send({ payload: alert, topic: alert.key } as never);
    show().catch(trouble);
  };
  const caller: Caller = new Caller(ledger, `alert-desk:${node.id}`, perMinute, send, trouble);
  const desk = new Desk(ledger, { nowUs, holdS, saved: () => caller.poke(), trouble });
  await desk.start();
  await show();
  caller.poke();
  return { desk, caller };
}

async function take(desk: Desk, payload: unknown): Promise<void> {
  if (isAction(payload)) {
    const { key, action } = readAction(payload, nowUs());
    await desk.act(key, action);
    return;
  }
  for (const record of Array.isArray(payload) ? payload : [payload]) {
    const kind = (record as { kind?: unknown } | null)?.kind;
    if (!KINDS.includes(kind as string)) {
      throw new Trouble(
        'kind-unexpected',
        `msg.payload.kind is ${JSON.stringify(kind) ?? 'missing'}; this node takes ${KINDS.join(', ')}, or an action`,
      );
    }
    for (const condition of conditionsOf(record as Finding | Rejection)) await desk.condition(condition);
  }
}
