/** The door as the node is set: mapping, rules, limit and way out, and, when a broker is chosen, its sessions. */
import type { Node, NodeAPI } from 'node-red';
import { configNode, type NetworkNode } from '../kit/config-nodes';
import { Trouble } from '../kit/trouble';
import type { LedgerNode } from '../ledger/ledger';
import { Adoption } from './adoption';
import { brokerMark, type CoreBroker, connectionOptions } from './broker-options';
import { Door } from './door';
import type { DoorOutput, ReadingsInNode } from './door-contract';
import { borrowedSession, defaultClientId, instanceId, SessionMemory, type SessionStore } from './identity';
import type { IntakeRules } from './intake';
import { type Mapping, makeMapping } from './mapping';
import { batches, rejected, singles } from './messages';
import { NearMatch } from './near-match';
import { RateLimit } from './rate-limit';
import { Session, type SessionListener } from './session';
import { filtersOf, type ReadingsInDef, type Settings } from './settings';
import { SparkplugDoor } from './sparkplug';

/** @throws Trouble for a configuration that cannot work */
export function openDoor(RED: NodeAPI, node: ReadingsInNode, settings: Settings, def: ReadingsInDef): Door {
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
    door.reader.limit = (taken, item) => limit.apply(taken, item);
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
  door.session = sessionOf(own, memory, (message, held) => door.arrived(message, held));
  door.adopts = (sharing) =>
    new Adoption(sharing, {
      scope: `session:${node.id}:${brokerMark(broker)}`,
      instance,
      clientId: own,
      open: (clientId) =>
        sessionOf(clientId, borrowedSession({ clientId, broker: brokerMark(broker), filters }), (message, held) => {
          door.adoption?.read();
          return door.arrived(message, held);
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
