/** Identification: the numeric core, and the record-making shell around it, beside the barest way to name a phase. */
import {
  ARRANGEMENTS,
  connectionAngle,
  identify,
  identifySite,
  jointLikelihood,
  makeFrame,
  scoreSite,
  wrap180,
} from '../../lib';
import { phaseClasses } from '../../lib/phase-classes';
import { phaseMarginals, scorePhase } from '../../lib/phase-score';
import { siteStatistic } from '../../lib/site-consistency';
import { read } from '../lib/readings';
import { chance } from '../outside/rates/chance';
import { type BenchRow, report } from './report';

const COUNT = 4096;
const dice = chance(1);
const frame = makeFrame({ references: [{ id: 'ref', path: [] }] });
const every = makeFrame({
  references: [{ id: 'ref', path: [] }],
  connections: ['phase-neutral', 'phase-neutral-reversed', 'phase-phase', 'phase-phase-reversed'],
});
const angles = Float64Array.from({ length: COUNT }, () => wrap180(-120 * dice.below(3) + 3 * dice.normal()));
const sites = Array.from({ length: COUNT }, () => {
  const arrangement = ARRANGEMENTS[dice.below(6)]!;
  return Float64Array.from(arrangement, (p) => wrap180(connectionAngle(p, 'phase-neutral') + 3 * dice.normal()));
});

/** Runs a second, from the best of many short windows: a scheduler's time slice must not fall into every one of them. */
function perSecond(run: (i: number) => unknown, window = COUNT, total = COUNT): number {
  let best = Number.POSITIVE_INFINITY;
  for (let pass = 0; pass < PASSES; pass++) {
    const from = (pass * window) % (total - window + 1);
    const began = performance.now();
    for (let i = from; i < from + window; i++) sink += Number(run(i)) || 0;
    best = Math.min(best, performance.now() - began);
  }
  return window / (best / 1000);
}
const PASSES = 300;
let sink = 0;

/** Nearest of the expected angles: names a phase and knows no doubt. */
function nearest(expectedDeg: Float64Array, angleDeg: number): number {
  let best = 0;
  let least = 360;
  for (let c = 0; c < expectedDeg.length; c++) {
    const x = Math.abs(wrap180(angleDeg - expectedDeg[c]!));
    if (x < least) {
      least = x;
      best = c;
    }
  }
  return best;
}

function core(f: typeof frame) {
  const classes = phaseClasses(f, { connection: 'phase-neutral', path: [] });
  const posterior = new Float64Array(classes.count);
  const marginals = new Float64Array(3);
  const score = (i: number) => {
    const best = scorePhase(classes, angles[i]!, 4, 0.0005, posterior);
    phaseMarginals(classes, posterior, marginals);
    return marginals[classes.phase[best]!]!;
  };
  return { score, bare: (i: number) => nearest(classes.expectedDeg, angles[i]!) };
}

function siteCore(i: number): number {
  likelihood.fill(0);
  scoreSite(sites[i]!, EXPECTED, SDS, 3, 3.2, 0.0005, 1, likelihood);
  return siteStatistic({ terminals: TERMINALS, angleDeg: sites[i]!, sdDeg: SDS, expectedDeg: EXPECTED }, ARRANGEMENTS);
}
const likelihood = new Float64Array(6);
const EXPECTED = Float64Array.from({ length: 9 }, (_, i) => connectionAngle(i % 3, 'phase-neutral'));
const SDS = [2.5, 2.5, 2.5];
const TERMINALS = ['1', '2', '3'];

const row = (what: string, value: number, unit: string, peer: [string, number], aim?: string): BenchRow => ({
  what,
  value,
  unit,
  peer: { what: peer[0], value: peer[1] },
  ratio: value / peer[1],
  ...(aim ? { aim } : {}),
});

const one = core(frame);
const twelve = core(every);
const bareOne = perSecond(one.bare);
const bareTwelve = perSecond(twelve.bare);
const bareSite = perSecond(
  (i) =>
    nearest(EXPECTED.subarray(0, 3), sites[i]![0]!) +
    nearest(EXPECTED.subarray(0, 3), sites[i]![1]!) +
    nearest(EXPECTED.subarray(0, 3), sites[i]![2]!),
);
const readings = Array.from(angles, (a, i) => [read(`t${i % 64}`, a, { atS: i })]);
const conductors = sites.map((s, i) =>
  TERMINALS.map((terminal, k) => ({ terminal, readings: [read(terminal, s[k]!, { atS: i })] })),
);

report('identify', [
  row('posterior, 3 classes', perSecond(one.score), 'readings/s', ['nearest angle', bareOne], '500,000'),
  row('posterior, 12 classes', perSecond(twelve.score), 'readings/s', ['nearest angle', bareTwelve], '500,000'),
  row(
    'identify(), whole record',
    perSecond((i) => identify(readings[i]!, frame).probability, 256),
    'readings/s',
    ['nearest angle', bareOne],
  ),
  row('site posterior and statistic', perSecond(siteCore), 'sites/s', ['three nearest angles', bareSite], '100,000'),
  row(
    'identifySite(), whole records',
    perSecond((i) => identifySite(conductors[i]!, frame).sequenceProbability, 48),
    'sites/s',
    ['three nearest angles', bareSite],
  ),
  {
    what: 'joint likelihood of three',
    value: 1e9 / perSecond((i) => jointLikelihood(sites[i]!, SDS, 3, 3, 0.0005)),
    unit: 'ns',
  },
]);
if (Number.isNaN(sink)) throw new Error('a run gave no number');
