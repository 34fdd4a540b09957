/** Recordings of IEEE C37.111 (COMTRADE) as windows of samples. */
import { formatInstant } from '../instant';
import type { Clock, Coupling, Problem, VoltageIs } from '../records';
import { WAVE_CYCLES } from '../waveform-flaws';
import { voltageChannel } from './channel';
import { recordedClock } from './clock';
import { type ComtradeConfig, type RecordedChannel, readComtradeConfig } from './config';
import { readComtradeData } from './data';
import { splitSingleFile } from './single-file';
import { type Stretch, stretchesOf } from './stretches';

export {
  type ComtradeConfig,
  type ConfigRead,
  type DataForm,
  type RecordedChannel,
  readComtradeConfig,
  type SamplingRate,
} from './config';
export { type DataRead, type DataRows, readComtradeData } from './data';
export { type SingleFile, splitSingleFile } from './single-file';
export { type Stretch, type Stretches, stretchesOf } from './stretches';

export interface RecordingRule {
  /** terminal of each analog channel to read, by channel id, or by its number from 1 where an id stands twice */
  readonly terminals: Readonly<Record<string, string>>;
  /** local time minus UTC, minutes; needed where the configuration does not say it (before the 2013 revision) */
  readonly offsetMin?: number;
  /** seconds a window; its least cycles when left out */
  readonly spanS?: number;
  /** cycles that the estimator needs; a window has as many at least, and never less than five */
  readonly cycles?: number;
  /** an anti-alias filter stands before the recorder's converter: fewer than 64 samples a cycle will do */
  readonly antiAliased?: boolean;
  /** what the voltages are between, and how they are coupled: the file does not say */
  readonly voltageIs?: VoltageIs;
  readonly coupling?: Coupling;
  /** primary volts of a recorded one; for the 1991 revision, which does not say which side it speaks of */
  readonly ratio?: number;
  /** what the recorder's time comes from, where it is known */
  readonly timeSource?: Clock['source'];
  /** standard error of the time of a recorder that is locked, microseconds: the file has no figure for it */
  readonly lockedErrorUs?: number;
}

export type Recording =
  | { readonly ok: true; readonly windows: readonly Readonly<Record<string, unknown>>[] }
  | { readonly ok: false; readonly problems: readonly Problem[] };

/** `recordingWindows` of a single file (CFF). */
export function singleFileWindows(cff: string | Uint8Array, rule: RecordingRule): Recording {
  const parts = splitSingleFile(cff);
  return parts.ok ? recordingWindows(parts.cfg, parts.dat, rule) : parts;
}

/**
 * Consecutive windows for `WaveReader`, in volts of the primary side, of every channel named. Which are fit is judged there:
 * a recording mostly shows a disturbance.
 */
export function recordingWindows(cfg: string, dat: string | Uint8Array, rule: RecordingRule): Recording {
  const read = readComtradeConfig(cfg);
  if (!read.ok) return read;
  const { config } = read;
  const offsetMin = config.offsetMin ?? rule.offsetMin;
  if (!Number.isFinite(offsetMin) || offsetMin === undefined)
    return fault('offset-unknown', 'the recording does not say how its clock stands to UTC', 'offsetMin');
  const data = readComtradeData(config, dat);
  if (!data.ok) return data;
  const even = stretchesOf(config, data.stamps);
  if (!even.ok) return even;
  const windows: Readonly<Record<string, unknown>>[] = [];
  for (const [id, terminal] of Object.entries(rule.terminals)) {
    const found = voltageChannel(config, id);
    if (!found.ok) return { ok: false, problems: [found.problem] };
    const { channel, place, volts } = found;
    const firstUs = config.firstUs - offsetMin * 60e6 + channel.skewUs;
    const gain = volts * (channel.side === undefined ? (rule.ratio ?? 1) : 1);
    const said = { terminal, nominalHz: config.nominalHz, ...toldBeside(rule), ...instrumentOf(config, channel, rule) };
    const { spanS, cycles } = rule;
    for (const stretch of even.stretches) {
      const how = { said, gain, firstUs, stretch, spanS, cycles };
      windows.push(...channelWindows(channel, data.counts[place]!, how));
    }
  }
  if (windows.length > 0) return { ok: true, windows };
  const rates = even.stretches.map(({ rows, rateHz }) => `${rows} rows at ${rateHz} Hz`).join(', ') || 'no even rows';
  const cycles = leastCycles(rule.cycles);
  return fault('too-short', rates, `${cycles} cycles, and a span that fits in, of a channel`);
}

/** What the rule says of every channel, where it says it. */
function toldBeside({ antiAliased, voltageIs, coupling }: RecordingRule): Readonly<Record<string, unknown>> {
  return {
    ...(antiAliased === undefined ? {} : { antiAliased }),
    ...(voltageIs === undefined ? {} : { voltageIs }),
    ...(coupling === undefined ? {} : { coupling }),
  };
}

const leastCycles = (cycles = 0): number => Math.max(WAVE_CYCLES, cycles);

interface ChannelRule {
  readonly said: Readonly<Record<string, unknown>> & { readonly nominalHz: number };
  readonly gain: number;
  readonly firstUs: number;
  readonly stretch: Stretch;
  readonly spanS: number | undefined;
  readonly cycles: number | undefined;
}

function channelWindows(
  { a, b, min, max }: RecordedChannel,
  counts: Float64Array,
  { said, gain, firstUs, stretch, spanS, cycles }: ChannelRule,
): Readonly<Record<string, unknown>>[] {
  const { rateHz } = stretch;
  const perCycle = rateHz / said.nominalHz;
  const least = Math.max(1, WAVE_CYCLES * Math.round(perCycle), Math.round(leastCycles(cycles) * perCycle));
  const length = Math.max(least, Math.round((spanS ?? 0) * rateHz));
  const made: Readonly<Record<string, unknown>>[] = [];
  for (let from = 0; from + length <= stretch.rows; from += length) {
    const part = counts.subarray(stretch.from + from, stretch.from + from + length);
    const isClipped = part.some((x) => x >= max || x <= min);
    const samples = Array.from(part, (x) => (a * x + b) * gain);
    made.push({
      ...said,
      rateHz,
      firstAt: formatInstant(Math.round(firstUs + stretch.afterUs + (from * 1e6) / rateHz)),
      samples,
      ...(isClipped ? { fullScale: samples.reduce((most, x) => Math.max(most, Math.abs(x)), 0) } : {}),
    });
  }
  return made;
}

function instrumentOf(config: ComtradeConfig, { side }: RecordedChannel, rule: RecordingRule): Record<string, unknown> {
  const clock = recordedClock(config, rule);
  const isUntold = side === undefined && rule.ratio === undefined;
  return {
    instrument: { id: config.device || config.station || 'recorder' },
    ...(clock ? { clock } : {}),
    ...(isUntold ? { note: 'the recording does not say whether its voltages are primary or secondary' } : {}),
  };
}

const fault = (code: string, what: string, expected: string): Recording => ({
  ok: false,
  problems: [{ at: '', code, what, expected }],
});
