/**
 * What a transformer draws from the phases above it for what hangs on the phases below: a single-phase load below a delta stands on two.
 *
 * An ideal transformer of clock number n carries each sequence by itself: the positive one turned by -30 n degrees, the negative one
 * by +30 n, the zero sequence only where both stars have their neutral brought out. So V_k = sum_j M_kj V_j with
 * M_kj = (z + 2 cos(30 n + 120 (k - j) degrees)) / 3, and since no power is lost the currents above are I_j = sum_k M_kj I_k.
 * (Sequence networks: C. L. Fortescue, 1918; of transformers: any textbook of power systems. From memory; the tests hold it against windings drawn out.)
 */
import { DEG } from '../angle';
import type { Feeder, FeederDocument } from '../feeder/model';
import { parseVectorGroup } from '../windings';

/** Powers above from powers below, [P0, Q0, P1, Q1, P2, Q2] each: row by row, 36 numbers. */
export type Lift = Float64Array;

/**
 * The lift of a vector group; undefined where each phase above feeds the one with its label below.
 * @example windingLift('YNyn0') // undefined
 */
export function windingLift(vectorGroup: string): Lift | undefined {
  const group = parseVectorGroup(vectorGroup);
  if (!group.ok) return undefined;
  const n = group.clock;
  const zeroPasses = /^YNyn|^I|a\d/.test(group.group);
  if (zeroPasses && n % 6 === 0) return undefined;
  const zero = zeroPasses ? (n % 4 === 0 ? 1 : -1) : 0;
  const lift = new Float64Array(36);
  for (let j = 0; j < 3; j++) {
    for (let k = 0; k < 3; k++) {
      const turn = (30 * n + 120 * (k - j)) * DEG;
      const m = (zero + 2 * Math.cos(turn)) / 3;
      // S_j = V_j conj(I_j): V_j / V_k is one turned by 30 n + 120 (k - j) degrees.
      const [re, im] = [m * Math.cos(turn), m * Math.sin(turn)];
      lift.set([re, -im], 12 * j + 2 * k);
      lift.set([im, re], 12 * j + 6 + 2 * k);
    }
  }
  return lift;
}

/** Powers of one or several snapshots carried up, in place. */
export function lifted(lift: Lift, powers: Float64Array): Float64Array {
  for (let at = 0; at < powers.length; at += 6) {
    const below = powers.slice(at, at + 6);
    for (let r = 0; r < 6; r++) {
      let sum = 0;
      for (let c = 0; c < 6; c++) sum += lift[6 * r + c]! * below[c]!;
      powers[at + r] = sum;
    }
  }
  return powers;
}

/** The transformers of a feeder that do not carry each phase through by itself, by section. */
export const liftsOf = (
  feeder: Feeder,
  { transformers = [] }: Pick<FeederDocument, 'transformers'>,
): Map<number, Lift> =>
  new Map(
    transformers.flatMap(({ id, vectorGroup }) => {
      const v = feeder.indexOf.get(id);
      const lift = windingLift(vectorGroup);
      return v === undefined || lift === undefined ? [] : [[v, lift] as const];
    }),
  );

/** Phases above that a transformer needs and does not have, in sentences. */
export function liftProblems(feeder: Feeder, lifts: ReadonlyMap<number, Lift>): string[] {
  return [...lifts].flatMap(([v, lift]) => {
    const above = v === 0 ? 7 : feeder.parent[v] === 0 ? 7 : feeder.mask[feeder.parent[v]!]!;
    const lacking = feeder.phases.filter((_, j) => {
      const draws = [0, 1, 2].some(
        (k) => (feeder.mask[v]! >> k) & 1 && Math.hypot(lift[12 * j + 2 * k]!, lift[12 * j + 6 + 2 * k]!) > 1e-9,
      );
      return draws && !((above >> j) & 1);
    });
    if (lacking.length === 0) return [];
    const has = feeder.phases.filter((_, j) => (above >> j) & 1).join(', ');
    return [
      `transformer ${feeder.ids[v]}: its winding draws on phase ${lacking.join(', ')}, which the section above lacks (it has ${has}); right would be a vector group such as Ii0, centre-tap, or the missing phase`,
    ];
  });
}
