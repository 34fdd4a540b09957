/** Acceptance target 12: a reference that is 5 mHz off is found within ten seconds; a synchronous one is left alone. */
import { newWatch, watchReference } from '../../../lib';
import { chance } from './chance';
import type { Rate } from './rate';

const NOISE_DEG = 0.3;
const PER_SECOND = 10;

/** Seconds until the watch first says that the reference turns, or Infinity. */
function foundAfterS(offHz: number, seconds: number, normal: () => number): number {
  let state = newWatch();
  for (let i = 0; i <= seconds * PER_SECOND; i++) {
    const t = i / PER_SECOND;
    const differenceDeg = 360 * offHz * t + NOISE_DEG * normal();
    const seen = watchReference(state, { kind: 'stream', other: 's', atUs: t * 1e6, differenceDeg, sdDeg: NOISE_DEG });
    state = seen.state;
    if (seen.findings.some((f) => f.code === 'reference-not-synchronous')) return t;
  }
  return Number.POSITIVE_INFINITY;
}

export function referenceRates(trials: number): Rate[] {
  const dice = chance(131);
  let late = 0;
  let alarms = 0;
  for (let n = 0; n < trials; n++) {
    if (foundAfterS(0.005, 10, dice.normal) > 10) late++;
    if (foundAfterS(0, 60, dice.normal) <= 60) alarms++;
  }
  const target = '12 reference';
  return [
    { target, what: '5 mHz off: not found within 10 s (noise 0.3 degrees, 10 a second)', trials, count: late, most: 0 },
    { target, what: 'synchronous for 60 s: called not synchronous', trials, count: alarms, most: 0.002 },
  ];
}
