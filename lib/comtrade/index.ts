/** Recordings of IEEE C37.111 (COMTRADE) as windows of samples. */
import { formatInstant } from '../instant';
import type { Clock, Problem } from '../records';
import { type AnalogChannel, type ComtradeConfig, readComtradeConfig } from './config';
import { readComtradeData } from './data';

export { type AnalogChannel, type ComtradeConfig, type ConfigRead, readComtradeConfig } from './config';
export { type DataRead, readComtradeData } from './data';

export interface RecordingRule {
  /** terminal of each analog channel to read, by channel id */
  readonly terminals: Readonly<Record<string, string>>;
  /** local time minus UTC, minutes; needed where the configuration does not say it (before the 2013 revision) */
  readonly offsetMin?: number;
  /** seconds a window; five cycles when left out */
  readonly spanS?: number;
}

export type Recording =
  | { readonly ok: true; readonly windows: readonly Readonly<Record<string, unknown>>[] }
  | { readonly ok: false; readonly problems: readonly Problem[] };

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
  if ('what' in data) return fault('data-wrong', data.what, 'the data file of this configuration');
  const windows: Readonly<Record<string, unknown>>[] = [];
  for (const [id, terminal] of Object.entries(rule.terminals)) {
    const c = config.analogs.findIndex((a) => a.id === id);
    const channel = config.analogs[c];
    const volts = channel && VOLTS[channel.unit.toLowerCase()];
    if (!channel) return fault('channel-unknown', `no channel ${id}`, config.analogs.map((a) => a.id).join(', '));
    if (!volts) return fault('unit-wrong', `channel ${id} is in ${JSON.stringify(channel.unit)}`, 'V or kV');
    windows.push(
      ...channelWindows(config, channel, data.counts[c]!, { terminal, volts, offsetMin, spanS: rule.spanS }),
    );
  }
  if (windows.length > 0) return { ok: true, windows };
  return fault(
    'too-short',
    `${config.rows} rows at ${config.rateHz} Hz`,
    'five cycles, and a span that fits in, of a channel',
  );
}

const VOLTS: Readonly<Record<string, number>> = { v: 1, kv: 1000 };

interface ChannelRule {
  readonly terminal: string;
  readonly volts: number;
  readonly offsetMin: number;
  readonly spanS: number | undefined;
}

function channelWindows(
  config: ComtradeConfig,
  { a, b, min, max, skewUs }: AnalogChannel,
  counts: Float64Array,
  { terminal, volts, offsetMin, spanS }: ChannelRule,
): Readonly<Record<string, unknown>>[] {
  const { rateHz, nominalHz } = config;
  const length = Math.max(1, 5 * Math.round(rateHz / nominalHz), Math.round((spanS ?? 0) * rateHz));
  const firstUs = config.firstUs - offsetMin * 60e6 + skewUs;
  const clock = clockOf(config.timeQuality);
  const made: Readonly<Record<string, unknown>>[] = [];
  for (let from = 0; from + length <= counts.length; from += length) {
    const part = counts.subarray(from, from + length);
    const isClipped = part.some((x) => x >= max || x <= min);
    const samples = Array.from(part, (x) => (a * x + b) * volts);
    made.push({
      terminal,
      rateHz,
      nominalHz,
      firstAt: formatInstant(Math.round(firstUs + (from * 1e6) / rateHz)),
      samples,
      instrument: { id: config.device || config.station || 'recorder' },
      ...(isClipped ? { fullScale: samples.reduce((most, x) => Math.max(most, Math.abs(x)), 0) } : {}),
      ...(clock ? { clock } : {}),
    });
  }
  return made;
}

/** Codes 1 to B of the 2013 revision: within 10^(code - 1) nanoseconds; 0 is locked, F not to be relied on. */
function clockOf(quality: number | undefined): Clock | undefined {
  if (quality === undefined) return undefined;
  if (quality === 0) return { locked: true };
  return quality <= 11 ? { locked: false, errorUs: 10 ** (quality - 4) } : { locked: false };
}

const fault = (code: string, what: string, expected: string): Recording => ({
  ok: false,
  problems: [{ at: '', code, what, expected }],
});
