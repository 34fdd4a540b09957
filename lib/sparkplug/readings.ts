/** Metrics that are named after the members of a reading, put together to readings. */
import { formatInstant } from '../instant';
import type { NamedMetric, SparkplugValue } from './host';

/** Measured anew each time: an old value must not pass for one of now. */
const MEASURED = ['angleDeg', 'voltageV', 'frequencyHz', 'takenAt', 'instrument/sequence', 'clock/holdoverS'];
/** Stay what they are until they are sent again. */
const STANDING = [
  'against',
  'sigmaDeg',
  'voltageIs',
  'coupling',
  'by',
  'job',
  'clock/source',
  'clock/errorUs',
  'clock/locked',
  'clock/driftPpm',
  'instrument/id',
  'instrument/selfTest',
  'instrument/batteryPct',
  'instrument/calibratedOn',
];
const MEMBERS = [...MEASURED, ...STANDING];

/**
 * One reading for each terminal and instant of which the message brings an angle or a voltage; a metric is named terminal/member, e.g.
 * `S118/2/angleDeg` or `S118/2/clock/errorUs`. What is not measured comes from the last message that said it. Without a `takenAt` the
 * time of the metric counts, and only what has the same time is put together. A birth repeats what was last measured, whenever that
 * was: it makes a reading only with a `takenAt`. Not yet checked: `parseReading` does that.
 * @param ownTerminal terminal of metrics that name a member only
 */
export function sparkplugReadings(
  metrics: readonly NamedMetric[],
  known: ReadonlyMap<string, SparkplugValue>,
  ownTerminal: string,
  isBirth = false,
): Record<string, unknown>[] {
  const groups = new Map<string, NamedMetric[]>();
  for (const metric of metrics) {
    const terminal = split(metric.name)?.terminal;
    if (terminal === undefined) continue;
    const group = groups.get(terminal);
    if (group) group.push(metric);
    else groups.set(terminal, [metric]);
  }
  return [...groups].flatMap(([terminal, group]) =>
    instantsOf(group)
      .filter((together) => together.some(isEvidence) && (!isBirth || together.some(saysWhen)))
      .map((together) => reading(terminal, together, known, ownTerminal)),
  );
}

const isEvidence = (m: NamedMetric): boolean => m.value !== null && /(^|\/)(angleDeg|voltageV)$/.test(m.name);
const saysWhen = (m: NamedMetric): boolean => m.value !== null && /(^|\/)takenAt$/.test(m.name);

/** Measured values that belong together: all of them where one `takenAt` speaks for each member once, else those of one time stamp. */
function instantsOf(group: readonly NamedMetric[]): NamedMetric[][] {
  const measured = group.filter((m) => MEASURED.includes(split(m.name)!.member));
  const isOnce = new Set(measured.map((m) => m.name)).size === measured.length;
  if (isOnce && measured.some(saysWhen)) return [measured];
  const byStamp = new Map<number | undefined, NamedMetric[]>();
  for (const metric of measured) {
    const together = byStamp.get(metric.timestampMs);
    if (together) together.push(metric);
    else byStamp.set(metric.timestampMs, [metric]);
  }
  return [...byStamp.values()];
}

function split(name: string): { terminal: string; member: string } | undefined {
  for (const member of MEMBERS) {
    if (name === member) return { terminal: '', member };
    if (name.endsWith(`/${member}`)) return { terminal: name.slice(0, -member.length - 1), member };
  }
  return undefined;
}

function reading(
  terminal: string,
  group: readonly NamedMetric[],
  known: ReadonlyMap<string, SparkplugValue>,
  ownTerminal: string,
): Record<string, unknown> {
  const result: Record<string, unknown> = { kind: 'reading', terminal: terminal === '' ? ownTerminal : terminal };
  for (const member of STANDING) put(result, member, known.get(terminal === '' ? member : `${terminal}/${member}`));
  for (const { name, value } of group) put(result, split(name)!.member, value);
  const stampMs = group[0]?.timestampMs;
  if (result.takenAt === undefined && isStamp(stampMs)) result.takenAt = formatInstant(Math.round(stampMs * 1000));
  return result;
}

const isStamp = (ms: number | undefined): ms is number => ms !== undefined && ms >= 0 && ms < 253_402_300_800_000;

function put(into: Record<string, unknown>, member: string, value: SparkplugValue | undefined): void {
  if (value === undefined || value === null) return;
  const [outer, inner] = member.split('/') as [string, string?];
  if (inner === undefined) into[outer] = value;
  else into[outer] = { ...(into[outer] as object | undefined), [inner]: value };
}
