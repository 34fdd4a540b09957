/** Acceptance target 4: the two sides of an open point, right and wrong. */
import { makeFrame } from '../../../lib';
import { decide } from '../../../lib/open-point-verdict';
import type { VisitAngle } from '../../../lib/visit-angles';
import { type Chance, chance } from './chance';
import type { Rate } from './rate';

const frame = makeFrame({ unbalanceSdDeg: 0, driftSdDeg: 3 });
const OPTIONS = { openPoint: 'tie', frame, toleranceDeg: 20 };
const READING_SD = 2;
const CLOCK_SD = 0.5;
const WRONG = [
  [1, 2, 0],
  [2, 0, 1],
  [0, 2, 1],
  [1, 0, 2],
  [2, 1, 0],
] as const;
const NAMES = ['rolled', 'rolled', 'swapped', 'swapped', 'swapped'];

/** left[k] carries phase k; right[k] carries the phase of left[landing[k]]. */
function grounds(landing: readonly number[], dice: Chance) {
  const side = (phases: readonly number[], name: string, drift: number): VisitAngle[] => {
    const common = drift + CLOCK_SD * dice.normal();
    return phases.map((phase, k) => ({
      terminal: `${name}${k}`,
      angleDeg: -120 * phase + common + READING_SD * dice.normal(),
      sdDeg: READING_SD,
      sharedSdDeg: 0,
      clockErrorUs: 1,
      readings: [],
      referenceFrom: [],
    }));
  };
  const left = side([0, 1, 2], 'L', 0);
  const right = side(landing, 'R', 3 * dice.normal());
  const clocksSdDeg = Math.SQRT2 * CLOCK_SD;
  const sds = [READING_SD, READING_SD, READING_SD];
  return {
    sides: {
      left,
      right,
      leftDeg: left.map((a) => a.angleDeg),
      rightDeg: right.map((a) => a.angleDeg),
      leftSdDeg: sds,
      rightSdDeg: sds,
      clocksSdDeg,
      commonSdDeg: Math.hypot(clocksSdDeg, frame.driftSdDeg),
      referenceFrom: [],
    },
    proof: { proof: 'common-conductor' as const, contradiction: undefined, reason: undefined },
    doubts: [],
    missing: [],
  };
}

export function openPointRates(trials: number): Rate[] {
  const dice = chance(401);
  let same = 0;
  let misnamed = 0;
  for (let n = 0; n < trials; n++) {
    const w = dice.below(WRONG.length);
    const decided = decide(grounds(WRONG[w]!, dice), OPTIONS);
    if (decided.verdict === 'same-phase') same++;
    if (
      decided.verdict !== 'not-the-same-phase' ||
      decided.landing !== NAMES[w] ||
      !partnersAre(decided.named?.partners, WRONG[w]!)
    )
      misnamed++;
  }
  const right = Math.round(trials / 4);
  let unproven = 0;
  for (let n = 0; n < right; n++) {
    if (decide(grounds([0, 1, 2], dice), OPTIONS).verdict !== 'same-phase') unproven++;
  }
  const target = '4 open point';
  return [
    { target, what: 'wrong landing: same phase', trials, count: same, most: 0 },
    { target, what: 'wrong landing: roll or swap not named, or its legs wrong', trials, count: misnamed, most: 1e-4 },
    {
      target,
      what: 'right landing, sd 2, clock 0.5, tolerance 20: not proven',
      trials: right,
      count: unproven,
      most: 1e-3,
    },
  ];
}

/** partners[left] is the right conductor with its phase: the inverse of the landing. */
const partnersAre = (partners: readonly number[] | undefined, landing: readonly number[]): boolean =>
  partners?.every((right, left) => landing[right] === left) ?? false;
