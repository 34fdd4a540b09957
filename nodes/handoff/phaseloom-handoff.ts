/** The node "handoff": records in, an outbox in the ledger, and deliveries until the other side has said yes. */

import type { IClientOptions } from 'mqtt';
import type { Node, NodeAPI, NodeDef } from 'node-red';
import type { PhaseloomRecord } from '../../lib/records';
import { configNode } from '../kit/config-nodes';
import { type NumberSetting, numberOr, oneOf } from '../kit/config-values';
import { startOrRefuse } from '../kit/evidence';
import type { FlowMessage } from '../kit/serve';
import type { StatusLight } from '../kit/status';
import { asError, Trouble } from '../kit/trouble';
import { WhenOpen } from '../kit/when-open';
import type { Ledger, LedgerNode } from '../ledger/ledger';
import { Accounts } from './accounts';
import { Carrier } from './carrier';
import { subjectOf } from './cloud-event';
import { httpTarget } from './http-target';
import { mqttTarget } from './mqtt-target';
import type { Target } from './target';

interface HandoffDef extends NodeDef {
  ledger: string;
  destination: string;
  way: string;
  url: string;
  broker: string;
  mqttTopic: string;
  source: string;
  timeoutS: NumberSetting;
  longestPauseS: NumberSetting;
  refusals: NumberSetting;
  maxAgeH: NumberSetting;
}

type HandoffNode = Node<object>;

export = (RED: NodeAPI) => {
  RED.nodes.registerType(
    'phaseloom-handoff',
    function (this: HandoffNode, def: HandoffDef) {
      RED.nodes.createNode(this, def);
      startOrRefuse(RED, this, (light) => run(RED, this, light, def));
    },
    { credentials: { token: { type: 'password' }, user: { type: 'text' }, password: { type: 'password' } } as object },
  );
};

function run(RED: NodeAPI, node: HandoffNode, light: StatusLight, def: HandoffDef): void {
  const ledgerNode = configNode<LedgerNode>(RED, def.ledger);
  if (!ledgerNode) throw new Trouble('config', 'no ledger is chosen: the outbox stands in it');
  const timeoutMs = 1000 * numberOr(10, 'timeoutS', def.timeoutS, { least: 0.1, most: 300 });
  const settings = {
    destination: def.destination?.trim() || node.id,
    firstPauseMs: 500,
    longestPauseMs: 1000 * numberOr(60, 'longestPauseS', def.longestPauseS, { least: 0.1, most: 86_400 }),
    refusals: numberOr(3, 'refusals', def.refusals, { least: 1, most: 1000 }),
    maxAgeMs: 3_600_000 * numberOr(0, 'maxAgeH', def.maxAgeH, { least: 0, most: 87_600 }),
    leaseMs: timeoutMs + 5000,
  };
  const target = targetOf(RED, node, def, timeoutMs);
  const accounts = new Accounts(RED, node, light, settings.destination);
  const carrying = new WhenOpen(
    async () => {
      const ledger = await ledgerNode.ready();
      const carrier = new Carrier(ledger, target, settings, accounts.of(ledger));
      accounts.opened();
      carrier.poke();
      return { ledger, carrier };
    },
    (cause) => accounts.notOpen(cause),
  );
  serve(node, settings.destination, carrying, accounts);
  node.on('close', (done: () => void) => {
    accounts.close();
    carrying
      .close()
      .then((open) => (open ? open.carrier.close() : target.close()))
      .then(done, () => done());
  });
}

function serve(
  node: HandoffNode,
  destination: string,
  carrying: WhenOpen<{ ledger: Ledger; carrier: Carrier }>,
  accounts: Accounts,
): void {
  node.on('input', (msg, _send, done) => {
    carrying
      .get()
      .then(async ({ ledger, carrier }) => {
        await ledger.enqueue(deliveries(destination, (msg as FlowMessage).payload));
        if (accounts.lastError === '') carrier.poke();
      })
      .then(
        () => done(),
        (cause) => done(asError(cause)),
      );
  });
}

function targetOf(RED: NodeAPI, node: HandoffNode, def: HandoffDef, timeoutMs: number): Target {
  const source = def.source?.trim() || `urn:phaseloom:${node.id}`;
  if (oneOf('way', def.way, ['http', 'mqtt']) === 'http') {
    const { token, user, password } = (node.credentials ?? {}) as { token?: string; user?: string; password?: string };
    const allowHosts = (RED.settings as unknown as { phaseloomHandoffAllowHosts?: string[] })
      .phaseloomHandoffAllowHosts;
    const secrets = { ...(token ? { token } : {}), ...(user ? { user } : {}), ...(password ? { password } : {}) };
    return httpTarget({ url: def.url ?? '', source, timeoutMs, ...secrets, ...(allowHosts ? { allowHosts } : {}) });
  }
  const broker = configNode<{ brokerurl?: string; options: IClientOptions }>(RED, def.broker);
  if (!broker?.brokerurl) throw new Trouble('config', 'no MQTT broker is chosen');
  const topic = def.mqttTopic?.trim() || 'phaseloom/{kind}/{subject}';
  const clientId = `phaseloom-handoff-${node.id}-${process.pid}`;
  return mqttTarget({ brokerurl: broker.brokerurl, options: broker.options, clientId, topic, source, timeoutMs });
}

function deliveries(destination: string, payload: unknown) {
  return (Array.isArray(payload) ? payload : [payload]).map((record) => {
    const { kind, id } = (record ?? {}) as { kind?: unknown; id?: unknown };
    if (typeof kind !== 'string' || typeof id !== 'string') {
      throw new Trouble(
        'record-expected',
        `msg.payload must be a record with kind and id, got kind ${JSON.stringify(kind) ?? 'none'} and id ${JSON.stringify(id) ?? 'none'}`,
      );
    }
    const known = record as PhaseloomRecord;
    return { destination, key: id, subject: subjectOf(known), record: known };
  });
}
