/** How many visits a crew needs when it goes where the trace suggests, beside going anywhere. */
import type { SiteEvidence } from '../../../lib/feeder/evidence';
import { nextBest } from '../../../lib/feeder/next-best';
import { bestProjection, type Solution, solve } from '../../../lib/feeder/solve';
import { type Chance, chance } from './chance';
import { anglesAt, evidenceOf, isRight, makeWorld, type World } from './feeder-world';
import type { Rate } from './rate';

const SIZE = 1500;
/** Feeders among which visits are counted together, one visit to each in turn. */
const AMONG = 20;
/** The visits sought leave this share of the wrong sections that there were at the start. */
const LEFT = 1 / 3;

type Choose = (solution: Solution, read: Uint8Array) => number;

const suggested: Choose = (solution, read) => nextBest(solution, read, undefined, 1)[0]?.section ?? -1;
const anywhere =
  (dice: Chance): Choose =>
  (_, read) => {
    const open = [...read.keys()].filter((v) => v > 0 && !read[v]);
    return open[dice.below(open.length)]!;
  };

/** A feeder of which nothing is read at first, and one more place each time it is asked; gives its wrong sections. */
function* visited(world: World, choose: Choose, dice: Chance): Generator<number, never> {
  const evidence: SiteEvidence[] = [];
  const read = new Uint8Array(SIZE);
  for (;;) {
    const solution = solve(world.tree, evidence);
    let wrong = 0;
    for (let v = 1; v < SIZE; v++) wrong += isRight(world, v, bestProjection(solution, v).state) ? 0 : 1;
    yield wrong;
    const v = choose(solution, read);
    if (v < 0) continue;
    read[v] = 1;
    evidence.push(evidenceOf(world, v, anglesAt(world, v, dice)));
  }
}

function visitsNeeded(worlds: readonly World[], choose: Choose, seed: number): number {
  const crews = worlds.map((world, i) => visited(world, choose, chance(seed + i)));
  const round = () => crews.reduce((sum, crew) => sum + crew.next().value, 0);
  const start = round();
  let visits = 0;
  for (let wrong = start; wrong > LEFT * start; wrong = round()) visits += AMONG;
  return visits;
}

/** Target 8. Groups of feeders, each drawn anew. */
export function nextRates(groups: number): Rate[] {
  const draws = Array.from({ length: groups }, (_, g) => {
    const dice = chance(800 + g);
    const worlds = Array.from({ length: AMONG }, () => makeWorld(dice, SIZE));
    return {
      count: visitsNeeded(worlds, suggested, 1000 * g),
      trials: visitsNeeded(worlds, anywhere(dice), 1000 * g + 500),
    };
  });
  const sum = (of: 'count' | 'trials') => draws.reduce((n, d) => n + d[of], 0);
  const what = 'visits to where is suggested, per visit to anywhere, until a third of the wrong sections is left';
  return [{ target: '8', what, count: sum('count'), trials: sum('trials'), most: 0.5, draws, surely: true }];
}
