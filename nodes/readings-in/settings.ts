/** What the editor saved, with defaults for what it left out, checked. */
import type { NodeDef } from 'node-red';
import { oneOf } from '../kit/config-values';
import { Trouble } from '../kit/trouble';
import type { CoreBroker } from './broker-options';
import type { LimitBy } from './rate-limit';
import { filterProblem } from './topic-filter';

export interface ReadingsInDef extends NodeDef {
  broker: string;
  topics: readonly string[];
  ledger: string;
  network: string;
  mapping: string;
  format: string;
  output: string;
  retained: string;
  clientId: string;
  /** name of the share among the workers, or empty */
  group: string;
  /** name of this worker, or empty: one is made for this Node-RED */
  instance: string;
  sessionExpiryS: string | number;
  window: string | number;
  batchSize: string | number;
  lingerMs: string | number;
  maxBytes: string | number;
  futureToleranceS: string | number;
  settleS: string | number;
  gatherMs: string | number;
  perMinute: string | number;
  limitBy: string;
}

export interface Settings {
  readonly topics: readonly string[];
  readonly mapping: string;
  readonly format: 'json' | 'sparkplug';
  readonly sendsBatches: boolean;
  readonly takeRetained: boolean;
  readonly clientId: string;
  readonly group: string;
  readonly instance: string;
  readonly sessionExpiryS: number;
  readonly window: number;
  readonly batchSize: number;
  readonly lingerMs: number;
  readonly maxBytes: number;
  readonly futureToleranceS: number;
  readonly settleMs: number;
  readonly gatherMs: number;
  /** readings a minute from one publisher; 0: no limit */
  readonly perMinute: number;
  readonly limitBy: LimitBy;
}

/** @throws Trouble 'config' that says which setting does not work and what would */
export function readSettings(def: ReadingsInDef): Settings {
  const topics = (def.topics ?? []).map((topic) => String(topic).trim()).filter((topic) => topic !== '');
  const wrong = topics.map(filterProblem).find((problem) => problem !== undefined);
  if (wrong) throw new Trouble('config', wrong);
  if (def.broker && topics.length === 0)
    throw new Trouble('config', 'no topic filter: name at least one, e.g. readings/#');
  return {
    topics,
    mapping: (def.mapping ?? '').trim(),
    format: oneOf('format', def.format, ['json', 'sparkplug']),
    sendsBatches: def.output === 'batches',
    takeRetained: def.retained !== 'skip',
    clientId: (def.clientId ?? '').trim(),
    group: groupOf(def),
    instance: instanceOf(def),
    sessionExpiryS: whole(def, 'sessionExpiryS', 604_800, 1, 0xffff_fffe),
    window: whole(def, 'window', 4000, 1, 65_535),
    batchSize: whole(def, 'batchSize', 2000, 1, 10_000),
    lingerMs: whole(def, 'lingerMs', 20, 0, 10_000),
    maxBytes: whole(def, 'maxBytes', 65_536, 1, 16 << 20),
    futureToleranceS: whole(def, 'futureToleranceS', 5, 0, 86_400),
    settleMs: 1000 * whole(def, 'settleS', 5, 0, 3600),
    gatherMs: whole(def, 'gatherMs', 200, 0, 60_000),
    perMinute: whole(def, 'perMinute', 0, 0, 10_000_000),
    limitBy: oneOf('limitBy', def.limitBy, ['topic', 'instrument']),
  };
}

/** The topic filters as they are subscribed to (MQTT 5.0 section 4.8.2). */
export function filtersOf({ topics, group }: Settings, { options }: CoreBroker): readonly string[] {
  if (group === '') return topics;
  if (options.protocolVersion !== 5)
    throw new Trouble('config', 'a share group needs MQTT 5: choose protocol version 5 in the MQTT broker');
  return topics.map((topic) => (topic.startsWith('$share/') ? topic : `$share/${group}/${topic}`));
}

function groupOf({ group = '', format }: ReadingsInDef): string {
  const name = group.trim();
  if (!/^[^+#/\0]*$/.test(name))
    throw new Trouble('config', `the share group is ${JSON.stringify(name)}; it must be a name without + # and /`);
  if (name !== '' && format === 'sparkplug') {
    throw new Trouble(
      'config',
      'Sparkplug B needs all messages of a source in their order at one worker: leave the share group empty',
    );
  }
  return name;
}

function instanceOf({ instance = '' }: ReadingsInDef): string {
  const name = instance.trim();
  if (/^[\w.-]{0,100}$/.test(name)) return name;
  throw new Trouble(
    'config',
    `the instance is ${JSON.stringify(name)}; it must be letters, digits, . _ or -, or an environment variable that is set to such`,
  );
}

function whole(def: ReadingsInDef, name: keyof ReadingsInDef, otherwise: number, least: number, most: number): number {
  const given = def[name];
  const value = given === undefined || given === '' ? otherwise : Number(given);
  if (Number.isInteger(value) && value >= least && value <= most) return value;
  throw new Trouble(
    'config',
    `${name} is ${JSON.stringify(given)}; it must be a whole number from ${least} to ${most}`,
  );
}
