/** The node "handoff": records in, an outbox in the ledger, and deliveries until the other side has said yes. */

import type { IClientOptions } from 'mqtt';
import type { Node, NodeAPI, NodeDef } from 'node-red';
import type { PhaseloomRecord } from '../../lib/records';
import { configNode } from '../kit/config-nodes';
import { type NumberSetting, numberOr, oneOf } from '../kit/config-values';
import { startOrRefuse } from '../kit/evidence';
import { Outage } from '../kit/outage';
import type { FlowMessage } from '../kit/serve';
import type { StatusLight } from '../kit/status';
import { asError, Trouble } from '../kit/trouble';
import { showVitalSigns } from '../kit/vital-signs';
import type { DueDelivery, Ledger, LedgerNode } from '../ledger/ledger';
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
  const text = (key: string, values: object) => RED._(`phaseloom-handoff.log.${key}`, values as Record<string, string>);
  const outage = new Outage({
    began: (why) => node.warn(text('away', { why })),
    ended: (figures) => node.log(text('back', figures)),
  });
  let lastError = '';
  const counts = { accepted: 0, retried: 0, abandoned: 0 };
  showVitalSigns(node, { counters: () => counts, trouble: () => lastError || undefined });
  const opening = ledgerNode.ready().then((ledger) => {
    const carrier = new Carrier(ledger, target, settings, {
      accepted: (d, status) => {
        counts.accepted++;
        node.send([message(d, settings.destination, { status }), null] as never);
      },
      abandoned: (d, why) => {
        counts.abandoned++;
        node.send([null, message(d, settings.destination, { error: why })] as never);
      },
      retried: () => counts.retried++,
      state: (error, { accepted, later }) => {
        lastError = error;
        show(RED, light, ledger, settings.destination, error).then(
          (waiting) => {
            if (later > 0 && accepted === 0) outage.goesOn(error, waiting);
            else if (later === 0 && accepted > 0) outage.over();
          },
          () => undefined,
        );
      },
      trouble: (cause) => node.error(cause.message),
    });
    carrier.poke();
    return { ledger, carrier };
  });
  light.show('grey', 'ring', RED._('phaseloom-handoff.status.waiting'));
  opening.catch((cause) => {
    node.error(asError(cause).message);
    light.show('red', 'ring', RED._('phaseloom-handoff.status.ledger'));
  });
  node.on('input', (msg, _send, done) => {
    opening
      .then(async ({ ledger, carrier }) => {
        await ledger.enqueue(deliveries(settings.destination, (msg as FlowMessage).payload));
        if (lastError === '') carrier.poke();
      })
      .then(
        () => done(),
        (cause) => done(asError(cause)),
      );
  });
  node.on('close', (done: () => void) => {
    light.close();
    outage.close();
    opening
      .then(
        ({ carrier }) => carrier.close(),
        () => target.close(),
      )
      .then(done, () => done());
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

function message(d: DueDelivery, destination: string, what: object): object {
  return { payload: d.record, topic: d.subject, handoff: { destination, key: d.key, attempts: d.attempts, ...what } };
}

async function show(
  RED: NodeAPI,
  light: StatusLight,
  ledger: Ledger,
  destination: string,
  lastError: string,
): Promise<number> {
  const waiting = (await ledger.deliveries({ destination, state: 'waiting', limit: 1000 })).length;
  if (lastError === '') light.show('green', 'dot', RED._('phaseloom-handoff.status.delivered', { waiting }));
  else light.show('yellow', 'ring', RED._('phaseloom-handoff.status.retrying', { waiting }));
  return waiting;
}
