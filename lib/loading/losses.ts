/** What the currents lose in the conductors, roughly. */
import { imaginary, real } from '../phasor';
import type { Loading } from './model';
import { sectionLoading } from './section-loading';

export const LOSS_ASSUMPTIONS =
  'Estimate: currents at nominal voltage, one resistance for the three phase conductors and the neutral of a section, the whole neutral current in the neutral conductor; earth return, mutual coupling, charging and the losses of transformers are left out, and so is load of unknown phase.';

/**
 * Sum over sections of R (|I_A|^2 + |I_B|^2 + |I_C|^2 + r |I_N|^2), kW, by snapshot.
 * @param neutralRatio resistance of the neutral over that of a phase conductor
 */
export function lossesKW(loading: Loading, neutralRatio = 1): number[] {
  const { snapshots, document } = loading;
  const out = snapshots.map(() => 0);
  const ohms = document.resistanceOhm ?? {};
  sectionLoading(loading).forEach((row, i) => {
    const r = ohms[row.section];
    if (r === undefined) return;
    const phases = row.phases.reduce((sum, p) => sum + p.amperes ** 2, 0);
    const neutral = real(row.neutral) ** 2 + imaginary(row.neutral) ** 2;
    out[i % snapshots.length]! += (r * (phases + neutralRatio * neutral)) / 1000;
  });
  return out;
}
