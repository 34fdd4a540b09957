import { type LoadingDocument, makeLoading } from '../../../lib/loading/model';
import { type SectionLoading, sectionLoading } from '../../../lib/loading/section-loading';
import { publishedLoads } from '../../kit/feeder-loads';
import { json } from '../data';
import type { CheckRow } from '../rows';

export const title = 'Load by phase and neutral current of sections';

const PHASES = ['A', 'B', 'C'];
const head = (document: Omit<LoadingDocument, 'source' | 'sections' | 'id'>): SectionLoading =>
  sectionLoading(
    makeLoading({
      id: 'rows',
      source: 's',
      sections: [{ id: 'head', from: 's', to: 'a', phases: PHASES }],
      ...document,
    }),
  )[1]!;

interface Neutral {
  amps?: readonly number[];
  amps_phasors?: readonly (readonly [number, number | null])[];
  computed: number;
  angle?: number;
  published: number | string;
  source: string;
  verdict: string;
}

/** Loads of these amperes, one on each phase, at unity power factor. */
const neutralOfAmperes = (amps: readonly number[]) =>
  head({
    voltageV: 230,
    loads: amps.map((amperes, k) => ({ id: `l${k}`, section: 'head', phases: [PHASES[k]!], amperes })),
  }).neutral;

function neutral({ amps, amps_phasors, computed, angle, published, source, verdict }: Neutral): CheckRow[] {
  // The one row given as phasors has its currents at 0, - and 120 degrees: unity power factor as well.
  const given = amps ?? amps_phasors!.map(([a]) => a);
  const what = `loads of ${given.join(', ')} A: current in the neutral, A`;
  const got = () => neutralOfAmperes(given).magnitude;
  if (typeof published === 'string') {
    const base = { source: 'from memory: a worked example of a text on power systems', confidence: 'low' as const };
    return [
      { ...base, what, expected: computed, got, tolerance: 0.005 },
      {
        ...base,
        what: `${what}: angle`,
        expected: angle!,
        got: () => neutralOfAmperes(given).angleDeg,
        tolerance: 0.01,
      },
    ];
  }
  const wrong = verdict.startsWith('WRONG') ? { wrongInSource: published, note: verdict } : {};
  const expected = verdict.startsWith('WRONG') ? computed : published;
  return [{ what, source, confidence: 'high', expected, got, tolerance: 0.005, ...wrong }];
}

/** Sums of the published load lists (kW), by hand from the list: wye A, B, C; loads between phases and three-phase ones beside. */
const SUMS: readonly [file: string, feeder: string, all: number, A: number, B: number, C: number][] = [
  ['ieee123_loads.csv', 'IEEE PES 123-node test feeder', 3490, 1135, 705, 910],
  ['ieee13_loads.csv', 'IEEE PES 13-node test feeder', 3466, 790, 424, 697],
];

const sums: CheckRow[] = SUMS.flatMap(([file, source, all, ...byPhase]) => {
  const loads = publishedLoads(file, () => 'head');
  const of = (list: typeof loads) => head({ voltageV: 2402, loads: list }).phases.map((p) => p.kW);
  const base = { source: `load list of the ${source}`, confidence: 'high' as const, tolerance: 1e-6 };
  return [
    { ...base, what: `${file}: all load, kW`, expected: all, got: () => of(loads).reduce((a, b) => a + b, 0) },
    ...byPhase.map((expected, k) => ({
      ...base,
      what: `${file}: single-phase load on ${PHASES[k]}, kW`,
      expected,
      got: () => of(loads.filter((l) => l.phases.length === 1))[k]!,
    })),
  ];
});

const evenly: CheckRow[] = [1400, 952.5, 1137.5].map((expected, k) => ({
  what: `123-node feeder, loads between phases one half on each: ${PHASES[k]}, kW`,
  source: 'sums of the load list of the IEEE PES 123-node test feeder, by hand',
  confidence: 'high',
  expected,
  got: () =>
    head({ voltageV: 2402, betweenPhases: 'evenly', loads: publishedLoads('ieee123_loads.csv', () => 'head') }).phases[
      k
    ]!.kW,
  tolerance: 1e-6,
}));

export const rows: readonly CheckRow[] = [
  ...json<Neutral[]>('neutral_current.json').flatMap(neutral),
  ...sums,
  ...evenly,
];
