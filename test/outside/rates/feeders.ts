/** How often the inference of a feeder is right, how sure it says it is, and how well it finds crossings. */
import { corrections } from '../../../lib/feeder/corrections';
import { bestProjection, explain, solve } from '../../../lib/feeder/solve';
import { suspects } from '../../../lib/feeder/suspects';
import { chance } from './chance';
import { anglesAt, evidenceOf, isRight, makeWorld, nearestUpstream } from './feeder-world';
import type { Rate } from './rate';

/** Lower ends of the bins of stated probability that must be calibrated. */
const BINS = [0.95, 0.99, 0.999] as const;

export interface FeederTally {
  sections: number;
  recordWrong: number;
  upstreamWrong: number;
  wrong: number;
  confident: number;
  confidentWrong: number;
  offered: number;
  offeredWrong: number;
  established: number;
  missed: number;
  firstRight: number;
  readonly setSizes: number[];
  readonly bins: { n: number; stated: number; right: number }[];
}

const emptyTally = (): FeederTally => ({
  sections: 0,
  recordWrong: 0,
  upstreamWrong: 0,
  wrong: 0,
  confident: 0,
  confidentWrong: 0,
  offered: 0,
  offeredWrong: 0,
  established: 0,
  missed: 0,
  firstRight: 0,
  setSizes: [],
  bins: BINS.map(() => ({ n: 0, stated: 0, right: 0 })),
});

/** Feeders of 1500 sections of which a share is read. */
export function tallyFeeders(seed: number, feeders: number, share: number, size = 1500): FeederTally {
  const dice = chance(seed);
  const tally = emptyTally();
  for (let i = 0; i < feeders; i++) {
    const world = makeWorld(dice, size);
    const angles = new Map<number, readonly number[]>();
    for (let v = 1; v < size; v++) if (dice.uniform() < share) angles.set(v, anglesAt(world, v, dice));
    const evidence = [...angles].map(([v, a]) => evidenceOf(world, v, a));
    const solution = solve(world.tree, evidence);
    const upstream = nearestUpstream(world, angles);
    for (let v = 1; v < size; v++) {
      const { state, probability } = bestProjection(solution, v);
      const right = isRight(world, v, state);
      tally.sections++;
      tally.recordWrong += isRight(world, v, 0) ? 0 : 1;
      tally.upstreamWrong += upstream[v] ? 0 : 1;
      count(tally, probability, right);
    }
    for (const group of corrections(solution, evidence, () => explain(solution, evidence))) {
      tally.offered += group.corrections.length;
      tally.offeredWrong += group.corrections.filter((c) => !isRight(world, c.section, c.state)).length;
    }
    for (const s of suspects(solution, angles.keys(), 0.9)) {
      tally.established++;
      tally.setSizes.push(s.sections.length);
      tally.missed += s.sections.some((x) => world.crossed[x.section]) ? 0 : 1;
      tally.firstRight += world.crossed[s.sections[0]!.section]!;
    }
  }
  return tally;
}

function count(tally: FeederTally, probability: number, right: boolean): void {
  if (!right) tally.wrong++;
  if (probability >= 0.99) {
    tally.confident++;
    if (!right) tally.confidentWrong++;
  }
  const b = BINS.findLastIndex((low) => probability >= low);
  if (b < 0) return;
  const bin = tally.bins[b]!;
  bin.n++;
  bin.stated += probability;
  if (right) bin.right++;
}

const TARGETS = [
  { share: 0.01, right: 0.945, fewer: 1.7, offered: 0.025, set: undefined },
  { share: 0.05, right: 0.97, fewer: 2.3, offered: 0.015, set: 6 },
  { share: 0.2, right: 0.989, fewer: 3, offered: 0.007, set: 3 },
] as const;

/** Targets 6 and 7. 134 feeders of 1500 sections are 200 000. */
export function feederRates(feeders: number, tell: (line: string) => void = () => undefined): Rate[] {
  return TARGETS.flatMap(({ share, right, fewer, offered, set }, k) => {
    const t = tallyFeeders(600 + k, feeders, share);
    const read = `${100 * share} % read`;
    tell(describeTally(read, t));
    const six = (what: string, n: number, trials: number, most: number): Rate => ({
      target: '6',
      what: `${read}: ${what}`,
      trials,
      count: n,
      most,
    });
    const rates = [
      six('wrong sections', t.wrong, t.sections, 1 - right),
      six('wrong sections per wrong section of nearest upstream', t.wrong, t.upstreamWrong, 1 / fewer),
      six('wrong at p >= .99', t.confidentWrong, t.confident, 0.001),
      six('wrong among corrections offered', t.offeredWrong, t.offered, offered),
      ...t.bins.map((b, i) =>
        six(`miscalibration from ${BINS[i]}`, Math.round(Math.abs(b.stated - b.right)), Math.max(b.n, 1), 0.005),
      ),
    ];
    if (set === undefined) return rates;
    const over = t.setSizes.filter((n) => n > set).length;
    const seven = (what: string, n: number, most: number): Rate => ({
      ...six(what, n, t.established, most),
      target: '7',
    });
    return [
      ...rates,
      seven('crossing outside its 95 % set', t.missed, 0.05),
      seven(`sets over ${set} sections`, over, 0.5),
    ];
  });
}

function describeTally(read: string, t: FeederTally): string {
  const pct = (n: number, of: number) => `${((100 * n) / of).toFixed(3)} %`;
  const sizes = [...t.setSizes].sort((a, b) => a - b);
  return [
    `${read}: right, record ${pct(t.sections - t.recordWrong, t.sections)}`,
    `nearest upstream ${pct(t.sections - t.upstreamWrong, t.sections)}`,
    `inference ${pct(t.sections - t.wrong, t.sections)}`,
    `p >= .99 ${pct(t.confident, t.sections)}`,
    `sets: median ${sizes[sizes.length >> 1]}, p90 ${sizes[Math.floor(0.9 * sizes.length)]}, first right ${pct(t.firstRight, t.established)}`,
  ].join('; ');
}
