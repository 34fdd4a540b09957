import { wavePhasor } from '../../../lib/waveform';
import { estimateAt } from '../../kit/standard-signals';
import { LimitTable, type Miss, type Nominal, REPORTING_RATES } from '../synchrophasor-limits';

export const title =
  'Phasor from samples (two-pass Hann, 4 cycles, 64 samples a cycle) against the synchrophasor limits of class P and M';

const MISSES: readonly Miss[] = [
  {
    row: / M (10|12|15|20|25|30)\/s, tones .*TVE/,
    why: 'four cycles do not tell a tone nearer than 25 Hz from the wave',
  },
  {
    row: / M (10|12|15|20|25|30|50|60)\/s, tones .*FE/,
    why: 'four cycles do not tell a tone nearer than 50 Hz from a swing',
  },
  { row: / P .*step of 10 degrees: TVE response/, why: 'four cycles answer more slowly than two' },
  { row: / P (50|60|100|120)\/s, latency/, why: 'five cycles are needed before an estimate' },
];

export const rows = ([50, 60] as readonly Nominal[]).flatMap((f0) => {
  const table = new LimitTable(f0, { at: estimateAt(f0, 5, wavePhasor), halfS: 2.5 / f0, misses: MISSES });
  return REPORTING_RATES[f0].flatMap((fps) => [...table.rows('P', fps), ...table.rows('M', fps)]);
});
