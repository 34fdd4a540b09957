/** Which phasor channel is which terminal, and the readings of a data frame. */
import { DEG, wrap180 } from '../angle';
import { formatInstant } from '../instant';
import type { Clock, Coupling, Problem, VoltageIs } from '../records';
import { instantUs } from './head';
import { type ClockRule, clockOf, isLeapSecond, type PmuStatus, readStatus } from './status';
import type { ConfigFrame, DataFrame, FrameTime, PhasorChannel, PmuConfig, PmuData } from './types';

/** A row of the table: a voltage channel and the terminal it is read at. */
export interface ChannelRow {
  /** IDCODE of the PMU or its station name */
  readonly pmu: number | string;
  /** name of the channel */
  readonly channel: string;
  readonly terminal: string;
  readonly voltageIs?: VoltageIs;
  /**
   * left out: contact. A PMU hangs on an instrument transformer whose ratio it knows, so its volts are those of the conductor; one on a
   * capacitive tap or on a ratio nobody checked is said here
   */
  readonly coupling?: Coupling;
  /** added to the angle, degrees: e.g. what a transformer between terminal and PMU has turned */
  readonly turnDeg?: number;
  /** standard uncertainty of the angle, time error not included, degrees */
  readonly sigmaDeg?: number;
}

/** A row that found its channel. */
export interface BoundChannel {
  readonly row: ChannelRow;
  /** places in the configuration */
  readonly pmu: number;
  readonly phasor: number;
}

export interface Binding {
  readonly channels: readonly BoundChannel[];
  readonly problems: readonly Problem[];
}

/** Finds the channels of the table in a configuration; a row that finds none, more than one, or a current is a problem. */
export function bindChannels(config: ConfigFrame, rows: readonly ChannelRow[]): Binding {
  const channels: BoundChannel[] = [];
  const problems: Problem[] = [];
  rows.forEach((row, i) => {
    const found = placesOf(config, row);
    const problem = problemOf(config, row, found, `/channels/${i}`);
    if (problem) problems.push(problem);
    else channels.push({ row, ...found[0]! });
  });
  return { channels, problems };
}

interface Place {
  readonly pmu: number;
  readonly phasor: number;
}

function placesOf(config: ConfigFrame, row: ChannelRow): Place[] {
  return config.pmus.flatMap((pmu, p) =>
    isMeant(pmu, row.pmu)
      ? pmu.phasors.flatMap((channel, c) => (channel.name.trim() === row.channel.trim() ? [{ pmu: p, phasor: c }] : []))
      : [],
  );
}

const isMeant = (pmu: PmuConfig, name: number | string): boolean =>
  typeof name === 'number' ? pmu.idCode === name : pmu.station === name.trim() || String(pmu.idCode) === name.trim();

function problemOf(config: ConfigFrame, row: ChannelRow, found: readonly Place[], at: string): Problem | undefined {
  const name = `channel ${JSON.stringify(row.channel)} of PMU ${JSON.stringify(row.pmu)}`;
  if (found.length === 0) {
    return {
      at,
      code: 'channel-unknown',
      what: `${name} is not in the configuration`,
      expected: `one of ${known(config)}`,
    };
  }
  if (found.length > 1) {
    const expected = 'a name that stands once; name the PMU by its IDCODE';
    return {
      at,
      code: 'channel-ambiguous',
      what: `${name} stands ${found.length} times in the configuration`,
      expected,
    };
  }
  const channel = channelAt(config, found[0]!);
  if (channel.isCurrent) {
    return { at, code: 'channel-is-current', what: `${name} is a current`, expected: 'a voltage channel' };
  }
  if (isSequence(channel)) {
    const what = `${name} is a symmetrical component`;
    return { at, code: 'channel-is-component', what, expected: 'the voltage of one conductor' };
  }
  return undefined;
}

/** Zero sequence has the code 0, which is also what a PMU writes that says nothing: only positive and negative are told. */
const isSequence = (channel: PhasorChannel): boolean =>
  channel.scale?.component === 1 || channel.scale?.component === 2;

const channelAt = (config: ConfigFrame, { pmu, phasor }: Place): PhasorChannel => config.pmus[pmu]!.phasors[phasor]!;

function known(config: ConfigFrame): string {
  const names = config.pmus.flatMap((p) => p.phasors.filter((c) => !c.isCurrent).map((c) => `${p.idCode}: ${c.name}`));
  const told = names.slice(0, 12).join(', ');
  return names.length > 12 ? `${told} and ${names.length - 12} more` : told || 'none: it has no voltage channel';
}

/**
 * A phasor in volts or amperes (rms) and degrees; undefined when the PMU marked it absent. PHUNIT and PHSCALE count for 16-bit numbers
 * only: magnitude = factor * count, and the angle of PHSCALE is subtracted. Floats are volts, amperes and radians as they stand.
 */
export function phasorOf(
  pmu: PmuConfig,
  data: PmuData,
  i: number,
): { magnitude: number; angleDeg: number } | undefined {
  const [first, second] = [data.phasors[2 * i]!, data.phasors[2 * i + 1]!];
  const { isPolar, floatPhasors } = pmu.format;
  if (!Number.isFinite(first) || !Number.isFinite(second)) return undefined;
  if (!floatPhasors && isAbsent(first, second, isPolar)) return undefined;
  const channel = pmu.phasors[i]!;
  const factor = floatPhasors ? 1 : (channel.scale?.factor ?? (channel.unit ?? 0) * 1e-5);
  const turnRad = floatPhasors ? 0 : (channel.scale?.angleRad ?? 0);
  const magnitude = (isPolar ? first : Math.hypot(first, second)) * factor;
  const angleRad = isPolar ? second * (floatPhasors ? 1 : 1e-4) : Math.atan2(second, first);
  return { magnitude, angleDeg: wrap180((angleRad - turnRad) / DEG) };
}

/** 0x8000 stands for a value that is not there; a polar magnitude has no sign, so its angle tells. */
const isAbsent = (first: number, second: number, isPolar: boolean): boolean =>
  second === -32_768 || (!isPolar && first === -32_768);

/** Frequency, Hz; undefined when absent. */
export function frequencyOf(pmu: PmuConfig, data: PmuData): number | undefined {
  if (!Number.isFinite(data.frequency)) return undefined;
  if (pmu.format.floatFrequency) return data.frequency;
  return data.frequency === -32_768 ? undefined : pmu.nominalHz + data.frequency / 1000;
}

export interface FrameReadings {
  /** not yet checked: `parseReading` does that */
  readonly readings: readonly Readonly<Record<string, unknown>>[];
  /** channels that gave none, each with its terminal */
  readonly refused: readonly { readonly terminal: string; readonly problem: Problem }[];
}

/** One reading for each channel of the table. Values that must not be used are refused; doubts travel in `clock` and `instrument`. */
export function readingsOf(
  config: ConfigFrame,
  frame: DataFrame,
  channels: readonly BoundChannel[],
  rule: ClockRule = {},
): FrameReadings {
  const takenAt = formatInstant(instantUs(frame.time, config.timeBase));
  const readings: Record<string, unknown>[] = [];
  const refused: { terminal: string; problem: Problem }[] = [];
  for (const channel of channels) {
    const problem = valueProblem(config, frame, channel);
    if (problem) refused.push({ terminal: channel.row.terminal, problem });
    else readings.push(reading(config, frame, channel, takenAt, rule));
  }
  return { readings, refused };
}

const WHY_NOT: Record<number, string> = {
  2: 'the PMU is in test mode or has no values',
  3: 'the PMU has an error and says its values must not be used',
};

function valueProblem(config: ConfigFrame, frame: DataFrame, { row, pmu, phasor }: BoundChannel): Problem | undefined {
  const data = frame.pmus[pmu]!;
  if (frame.time.fraction >= config.timeBase) {
    const what = `FRACSEC is ${frame.time.fraction} ticks of ${config.timeBase} a second`;
    return { at: '/fracSec', code: 'fraction-beyond-second', what, expected: 'fewer ticks than TIME_BASE' };
  }
  const why = WHY_NOT[data.stat >> 14];
  const at = `/pmus/${pmu}/phasors/${phasor}`;
  if (why) return { at, code: 'values-not-usable', what: why, expected: 'STAT bits 15 and 14 of 00 or 01' };
  const value = phasorOf(config.pmus[pmu]!, data, phasor);
  const name = `channel ${JSON.stringify(row.channel)}`;
  if (!value) return { at, code: 'value-absent', what: `the PMU marked ${name} absent`, expected: 'a phasor' };
  // A vector without length points nowhere: the zero of its angle was not measured.
  if (value.magnitude !== 0) return undefined;
  const what = `${name} reads 0 V, so its angle belongs to nothing; this is not a test for absence of voltage`;
  return { at, code: 'magnitude-zero', what, expected: 'a voltage above 0 V' };
}

function reading(
  config: ConfigFrame,
  frame: DataFrame,
  { row, pmu, phasor }: BoundChannel,
  takenAt: string,
  rule: ClockRule,
) {
  const unit = config.pmus[pmu]!;
  const data = frame.pmus[pmu]!;
  const status = readStatus(data.stat);
  const { magnitude, angleDeg } = phasorOf(unit, data, phasor)!;
  const frequencyHz = frequencyOf(unit, data);
  return {
    kind: 'reading',
    terminal: row.terminal,
    takenAt,
    angleDeg: wrap180(angleDeg + (row.turnDeg ?? 0)),
    against: 'utc',
    ...(row.sigmaDeg === undefined ? {} : { sigmaDeg: row.sigmaDeg }),
    voltageV: magnitude,
    ...(row.voltageIs === undefined ? {} : { voltageIs: row.voltageIs }),
    coupling: row.coupling ?? 'contact',
    ...(frequencyHz === undefined ? {} : { frequencyHz }),
    clock: isLeapSecond(frame.time) ? leaping(rule) : clockOf(status, frame.time.quality, rule),
    instrument: { id: `pmu-${unit.idCode}`, ...(status.dataError === 1 ? { selfTest: 'fail' } : {}) },
    ...noteOf(status, frame.time),
  };
}

/** The stamp may be a second off: no absolute phase, and no alignment with others. */
const leaping = ({ source }: ClockRule): Clock => ({ ...(source ? { source } : {}), locked: false, errorUs: 1e6 });

function noteOf(status: PmuStatus, time: FrameTime): { note?: string } {
  const notes = [
    isLeapSecond(time) ? 'taken in the second of a leap second' : '',
    status.byArrival ? 'sorted by arrival, not by time stamp' : '',
    status.modified ? 'changed by the sender after it was measured' : '',
  ].filter(Boolean);
  return notes.length > 0 ? { note: notes.join('; ') } : {};
}
