/** How good a plan is after how long: the search beside greedy alone and beside the solver's bound. */

import { moveCurve } from '../../lib/loading/curve';
import { greedy } from '../../lib/loading/greedy';
import type { LoadPlan } from '../../lib/loading/load-plan';
import { type Loading, makeLoading } from '../../lib/loading/model';
import { planMoves } from '../../lib/loading/plan';
import { makeProblem, type ProblemOptions } from '../../lib/loading/problem';
import type { SearchOptions } from '../../lib/loading/search';
import { PlanState } from '../../lib/loading/state';
import { highsSolver } from '../../nodes/load-plan/highs-solver';
import { ieee123AtHead, randomFeeder } from '../kit/feeder-loads';
import { type BenchRow, report } from './report';

const nowMs = () => performance.now();

async function timed(loading: Loading, options: Omit<SearchOptions, 'nowMs' | 'seed'>) {
  const began = nowMs();
  const plan = await planMoves(loading, { nowMs, seed: 1, ...options });
  return { plan, s: (nowMs() - began) / 1000 };
}

/** The best single move again and again, nothing else. */
function greedyAlone(loading: Loading, options: ProblemOptions): number {
  const state = new PlanState(makeProblem(loading, options));
  greedy(state, { nowMs, untilMs: Number.POSITIVE_INFINITY });
  return state.score();
}

const gap = ({ plan }: { plan: LoadPlan }) => plan.gapPct ?? Number.NaN;

async function main() {
  const solver = await highsSolver();
  const rows: BenchRow[] = [];
  const price = { aim: { kind: 'price', perCost: 5 }, over: 'sum' } as const;

  const ieee = makeLoading(ieee123AtHead());
  for (const moves of [6, 8]) {
    const options = { aim: { kind: 'best', moves }, timeS: 10 } as const;
    const found = await timed(ieee, { ...options, solver });
    rows.push({
      what: `IEEE 123, ${moves} moves: deviation left`,
      value: found.plan.after,
      unit: '%',
      peer: { what: 'greedy', value: greedyAlone(ieee, options) },
      aim: moves === 6 ? '0.93 %, proven' : '0.14 %, proven',
    });
    rows.push({ what: `the same: time to the proof (${found.plan.proven})`, value: found.s, unit: 's', aim: '2 s' });
  }

  for (const [taps, sections, timeS] of [
    [100, 1, 10],
    [100, 5, 10],
    // What the solver takes to stop comes on top: within 5 s in all.
    [1000, 20, 4.9],
  ] as const) {
    const loading = makeLoading(randomFeeder(taps, sections, 3));
    const found = await timed(loading, { ...price, timeS, solver });
    const alone = greedyAlone(loading, price);
    const name = `${taps} taps, ${sections} sections`;
    rows.push({
      what: `${name}: kW and price left (before ${Math.round(found.plan.before)})`,
      value: found.plan.value,
      unit: 'kW',
      peer: { what: 'greedy', value: alone },
      ratio: alone / found.plan.value,
    });
    rows.push({
      what: `${name}: value above the proven bound, of the unbalance before`,
      value: gap(found),
      unit: '%',
      ...(sections === 5 ? {} : { aim: taps === 1000 ? '1.5 %' : '0.5 %' }),
    });
    rows.push({ what: `${name}: time`, value: found.s, unit: 's', aim: `${timeS} s` });
  }

  const loading = makeLoading(randomFeeder(100, 5, 3));
  const options = { nowMs, seed: 1, over: 'sum' as const, timeS: 3 };
  const curve = await moveCurve(loading, 10, { ...options, solver });
  for (const { moves, unbalance, bound, proven } of curve.filter((c) => [2, 5, 10].includes(c.moves))) {
    const alone = greedyAlone(loading, { aim: { kind: 'best', moves }, over: 'sum' });
    rows.push({
      what: `curve, 100 taps, 5 sections: ${moves} moves (bound ${bound?.toFixed(1)}, proven ${proven})`,
      value: unbalance,
      unit: 'kW',
      peer: { what: 'greedy', value: alone },
      ratio: alone / unbalance,
      aim: 'never above greedy',
    });
  }
  report('load plan', rows);
}

main();
