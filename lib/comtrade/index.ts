/** Recordings of IEEE C37.111 (COMTRADE) as windows of samples. */
import { formatInstant } from '../instant';
import type { Clock, Problem } from '../records';
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
  /** terminal of each analog channel to read, by channel id */
  readonly terminals: Readonly<Record<string, string>>;
  /** local time minus UTC, minutes; needed where the configuration does not say it (before the 2013 revision) */
  readonly offsetMin?: number;
  /** seconds a window; five cycles when left out */
  readonly spanS?: number;
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
    const c = config.analogs.findIndex((a) => a.id === id);
    const channel = config.analogs[c];
    const volts = channel && VOLTS[channel.unit.toLowerCase()];
    if (!channel) return fault('channel-unknown', `no channel ${id}`, config.analogs.map((a) => a.id).join(', '));
    if (!volts) return fault('unit-wrong', `channel ${id} is in ${JSON.stringify(channel.unit)}`, 'V or kV');
    const firstUs = config.firstUs - offsetMin * 60e6 + channel.skewUs;
    const gain = volts * (channel.side === undefined ? (rule.ratio ?? 1) : 1);
    const said = { terminal, nominalHz: config.nominalHz, ...instrumentOf(config, channel, rule) };
    for (const stretch of even.stretches)
      windows.push(...channelWindows(channel, data.counts[c]!, { said, gain, firstUs, stretch, spanS: rule.spanS }));
  }
  if (windows.length > 0) return { ok: true, windows };
  const rates = even.stretches.map(({ rows, rateHz }) => `${rows} rows at ${rateHz} Hz`).join(', ') || 'no even rows';
  return fault('too-short', rates, 'five cycles, and a span that fits in, of a channel');
}

const VOLTS: Readonly<Record<string, number>> = { v: 1, kv: 1000 };

interface ChannelRule {
  readonly said: Readonly<Record<string, unknown>> & { readonly nominalHz: number };
  readonly gain: number;
  readonly firstUs: number;
  readonly stretch: Stretch;
  readonly spanS: number | undefined;
}

function channelWindows(
  { a, b, min, max }: RecordedChannel,
  counts: Float64Array,
  { said, gain, firstUs, stretch, spanS }: ChannelRule,
): Readonly<Record<string, unknown>>[] {
  const { rateHz } = stretch;
  const length = Math.max(1, 5 * Math.round(rateHz / said.nominalHz), Math.round((spanS ?? 0) * rateHz));
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
  const clock = clockOf(config, rule);
  const isUntold = side === undefined && rule.ratio === undefined;
  return {
    instrument: { id: config.device || config.station || 'recorder' },
    ...(clock ? { clock } : {}),
    ...(isUntold ? { note: 'the recording does not say whether its voltages are primary or secondary' } : {}),
  };
}

/** Codes 1 to B of the 2013 revision: within 10^(code - 1) nanoseconds; 0 is locked, F not to be relied on. */
function clockOf({ timeQuality: quality, hasLeapSecond }: ComtradeConfig, rule: RecordingRule): Clock | undefined {
  if (quality === undefined) return undefined;
  const source = rule.timeSource === undefined ? {} : { source: rule.timeSource };
  if (hasLeapSecond) return { ...source, locked: false, errorUs: 1e6 };
  if (quality > 11) return { ...source, locked: false };
  if (quality > 0) return { ...source, locked: false, errorUs: 10 ** (quality - 4) };
  return { ...source, locked: true, ...(rule.lockedErrorUs === undefined ? {} : { errorUs: rule.lockedErrorUs }) };
}

const fault = (code: string, what: string, expected: string): Recording => ({
  ok: false,
  problems: [{ at: '', code, what, expected }],
});
