/** Loops and ties that the windings on record keep open: they turn the two sides by different angles. */
import { type Block, pathBetween } from './blocks';
import { SHIFTS } from './evidence';
import type { FeederTree } from './model';
import { mayMeet } from './pair-factor';

/**
 * Whether all loops and ties of a block can hold at once while no conductors cross between its windings, for some of the clock numbers
 * that are possible. If not, a vector group or a switch is recorded wrong: likelier than crossings that would make up for the windings, so
 * that none may be inferred.
 */
export function windingsMeet(tree: FeederTree, { sections, factors }: Block): boolean {
  const sides = factors.map((f) => {
    const { left, right } = pathBetween(tree, f.a, f.b);
    return { left: new Set(left), right: new Set(right) };
  });
  // Of each factor how far a is turned beyond b, all factors together as the digits of one number.
  let turned = new Set([0]);
  for (const v of sections) {
    const clocks = tree.windings.get(v);
    if (!clocks) continue;
    const sign = sides.map(({ left, right }) => (left.has(v) ? -1 : right.has(v) ? 1 : 0));
    turned = new Set(
      [...turned].flatMap((t) => clocks.map(({ n }) => written(sign.map((x, i) => digit(t, i) + x * n)))),
    );
  }
  const meet = factors.map((f) => Array.from({ length: SHIFTS }, (_, d) => mayMeet(f, d)));
  // Where the conductors arrive in reversed sequence every winding turns the other way.
  return [...turned].some((t) => [1, -1].some((way) => meet.every((m, i) => m[modulo(way * digit(t, i))])));
}

const modulo = (x: number): number => ((x % SHIFTS) + SHIFTS) % SHIFTS;
const digit = (t: number, i: number): number => Math.floor(t / SHIFTS ** i) % SHIFTS;
const written = (digits: readonly number[]): number => digits.reduce((t, x, i) => t + modulo(x) * SHIFTS ** i, 0);
