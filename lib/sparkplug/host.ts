/**
 * What a receiver of Sparkplug B has to remember: who was born and who has gone offline, names behind aliases, sequence numbers, last values.
 * Sparkplug 3.0.0 (Eclipse Foundation), chapters 5 and 6; rules from memory of it.
 */
import type { Problem } from '../records';
import { type EdgeNode, EdgeNodes, nameAlias, rememberValue, type Source, type SparkplugValue, source } from './source';
import type { SparkplugTopic } from './topic';

export type { SparkplugValue } from './source';

/** A metric as it came: by name, by alias, or by both. */
export interface SparkplugMetric {
  readonly name?: string;
  readonly alias?: number;
  readonly value: SparkplugValue;
  /** milliseconds since the epoch */
  readonly timestampMs?: number;
}

export interface SparkplugPayload {
  readonly timestampMs?: number;
  readonly seq?: number;
  readonly metrics: readonly SparkplugMetric[];
}

export type NamedMetric = SparkplugMetric & { readonly name: string };

export type SparkplugStep =
  /** values to use: those of this message, and all that are known of the source */
  | {
      readonly is: 'values';
      readonly metrics: readonly NamedMetric[];
      readonly known: ReadonlyMap<string, SparkplugValue>;
      /** a birth says what holds, whenever that was measured */
      readonly isBirth: boolean;
    }
  | { readonly is: 'death'; readonly source: string }
  /** a command to somebody, or a death of a session that is over */
  | { readonly is: 'nothing' }
  /** `rebirth`: only a new birth of the edge node can mend it */
  | { readonly is: 'problem'; readonly problem: Problem; readonly rebirth: boolean };

/** Characters of names and values that are remembered of all edge nodes together. Our own choice: some hundred megabytes. */
const MOST_HELD = 64e6;

export class SparkplugHost {
  private readonly edges: EdgeNodes;

  /** @param mostHeld characters of names and values to remember at most; who was quiet longest is forgotten first */
  constructor(mostHeld = MOST_HELD) {
    this.edges = new EdgeNodes(mostHeld);
  }

  /** Sources that were born and have gone offline or are out of step: what was last heard of them may no longer hold. */
  get stale(): number {
    let n = 0;
    for (const edge of this.edges.values()) {
      for (const s of [edge, ...edge.devices.values()]) if (!edge.isAlive || !s.isAlive) n++;
    }
    return n;
  }

  take(topic: SparkplugTopic, payload: SparkplugPayload): SparkplugStep {
    if (topic.type === 'NCMD' || topic.type === 'DCMD') return { is: 'nothing' };
    const id = `${topic.group}/${topic.edge}`;
    if (topic.type === 'NBIRTH') return this.nodeBirth(id, payload);
    const edge = this.edges.get(id);
    if (topic.type === 'NDEATH') return nodeDeath(edge, id, payload);
    if (!edge) return troubled('birth-missing', `edge node ${id} has not been born here`, 'an NBIRTH first');
    if (!edge.isAlive)
      return troubled('source-stale', `edge node ${id} has gone offline (NDEATH) or is out of step`, 'an NBIRTH first');
    const gap = gapIn(edge, id, payload.seq);
    if (gap) return gap;
    const step = topic.device === undefined ? values(edge, id, payload) : ofDevice(edge, topic.device, topic, payload);
    this.edges.heard(id, edge);
    return step;
  }

  private nodeBirth(id: string, payload: SparkplugPayload): SparkplugStep {
    const bdSeq = payload.metrics.find((m) => m.name === 'bdSeq')?.value;
    const edge = { ...source(), seq: payload.seq ?? 0, bdSeq, devices: new Map<string, Source>() };
    const step = born(edge, id, payload);
    this.edges.heard(id, edge);
    return step;
  }
}

function ofDevice(edge: EdgeNode, name: string, topic: SparkplugTopic, payload: SparkplugPayload): SparkplugStep {
  const id = `${topic.group}/${topic.edge}/${name}`;
  if (topic.type === 'DBIRTH') {
    const device = source();
    edge.devices.set(name, device);
    return born(device, id, payload);
  }
  const device = edge.devices.get(name);
  if (!device) return troubled('birth-missing', `device ${id} has not been born here`, 'a DBIRTH first');
  if (topic.type === 'DDEATH') {
    device.isAlive = false;
    return { is: 'death', source: id };
  }
  if (!device.isAlive)
    return troubled('source-stale', `device ${id} has gone offline (DDEATH)`, 'a DBIRTH first', false);
  return values(device, id, payload);
}

/** A will that the broker sends late belongs to the session before: its bdSeq is not that of the birth. */
function nodeDeath(edge: EdgeNode | undefined, id: string, payload: SparkplugPayload): SparkplugStep {
  const bdSeq = payload.metrics.find((m) => m.name === 'bdSeq')?.value;
  if (!edge?.isAlive || bdSeq !== edge.bdSeq) return { is: 'nothing' };
  edge.isAlive = false;
  return { is: 'death', source: id };
}

/** What was lost may have changed what we hold for known: from here on nothing of the edge node is used until it is born again. */
function gapIn(edge: EdgeNode, id: string, seq: number | undefined): SparkplugStep | undefined {
  const expected = (edge.seq + 1) % 256;
  if (seq === expected) {
    edge.seq = seq;
    return undefined;
  }
  edge.isAlive = false;
  return troubled('sequence-gap', `seq of edge node ${id} is ${seq ?? 'missing'}`, `${expected}; then an NBIRTH`);
}

function born(s: Source, id: string, payload: SparkplugPayload): SparkplugStep {
  for (const { name, alias } of payload.metrics) {
    if (name !== undefined && alias !== undefined) nameAlias(s, alias, name);
  }
  return values(s, id, payload, true);
}

function values(s: Source, id: string, payload: SparkplugPayload, isBirth = false): SparkplugStep {
  const metrics: NamedMetric[] = [];
  for (const [i, metric] of payload.metrics.entries()) {
    const name = metric.name ?? (metric.alias === undefined ? undefined : s.names.get(metric.alias));
    if (name === undefined) {
      const what = `metric ${i} of ${id} has ${metric.alias === undefined ? 'neither name nor alias' : `the alias ${metric.alias}, which no birth named`}`;
      return troubled('alias-unknown', what, 'an alias that the birth named', true, `/metrics/${i}`);
    }
    metrics.push({ ...metric, name, ...stamp(metric, payload) });
  }
  for (const { name, value } of metrics) rememberValue(s, name, value);
  return { is: 'values', metrics, known: s.known, isBirth };
}

const stamp = (metric: SparkplugMetric, payload: SparkplugPayload): { timestampMs?: number } => {
  const timestampMs = metric.timestampMs ?? payload.timestampMs;
  return timestampMs === undefined ? {} : { timestampMs };
};

function troubled(code: string, what: string, expected: string, rebirth = true, at = ''): SparkplugStep {
  return { is: 'problem', problem: { at, code, what: shortened(what), expected: shortened(expected) }, rebirth };
}

/** Topics are longer than a problem may be. */
const MOST_TOLD = 1000;
const shortened = (text: string): string => (text.length > MOST_TOLD ? `${text.slice(0, MOST_TOLD - 3)}...` : text);
