import { classPhasor, classTaper, type WaveFilter } from '../../../lib/waveform-classes';
import { estimateAt } from '../../kit/standard-signals';
import { LimitTable, type Miss, type Nominal, REPORTING_RATES } from '../synchrophasor-limits';

export const title =
  'Phasor from samples, reference filters of class P and M, 64 samples a cycle, against the synchrophasor limits of their class';

/** ROCOF is not part of a reading; it is listed all the same. */
const IMAGE = 'of one phase the mirror image is taken off as that of a steady wave; from three phases it cancels';
const MISSES: readonly Miss[] = [
  { row: /ramp .*RFE/, why: IMAGE },
  { row: / M (10|12|15|20)\/s, phase modulation .*RFE/, why: IMAGE },
  { row: /50 Hz P .*amplitude modulation .*RFE/, why: IMAGE },
  { row: /60 Hz P (10|12|20|30|60|120)\/s, amplitude modulation .*RFE/, why: IMAGE },
  { row: /60 Hz P (10|20|30|60|120)\/s, phase modulation .*RFE/, why: IMAGE },
  { row: / M 10\/s, ramp .*FE/, why: IMAGE },
  {
    row: /(50 Hz M 100|60 Hz M 60)\/s, tones .*FE/,
    why: 'of one phase the tone comes twice, as itself and as its mirror image',
  },
  { row: / P (100|120)\/s, latency/, why: 'a cycle, and a sixteenth of one for the frequency, either side' },
];

function tableOf(f0: Nominal, filter: WaveFilter): LimitTable {
  const cycles = (classTaper(f0, 64 * f0, filter)!.weights.length + 8) / 64;
  const at = estimateAt(f0, Math.ceil(cycles), (w) => classPhasor(w, filter));
  return new LimitTable(f0, { at, halfS: cycles / 2 / f0, misses: MISSES });
}

export const rows = ([50, 60] as readonly Nominal[]).flatMap((f0) => {
  const p = tableOf(f0, { class: 'P' });
  return REPORTING_RATES[f0].flatMap((framesPerS) => [
    ...p.rows('P', framesPerS),
    ...tableOf(f0, { class: 'M', framesPerS }).rows('M', framesPerS),
  ]);
});
