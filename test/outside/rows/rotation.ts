import { leadChange, leadsToExchange, sequenceOfLabels } from '../../../lib/lead-order';
import { rotation } from '../../../lib/sequence';
import { csv } from '../data';
import type { CheckRow } from '../rows';

export const title = 'Rotation and its equivalents';

const PRACTICE = { source: 'common practice, no source', confidence: 'high' as const, tolerance: 0 };
const said = (anglesDeg: number[]) => () => rotation(anglesDeg).turns ?? rotation(anglesDeg).reasons[0]!.code;

const practice: CheckRow[] = [
  { ...PRACTICE, what: '240, 120, 0 left to right, lead positive', expected: 'clockwise', got: said([240, 120, 0]) },
  {
    ...PRACTICE,
    what: '0, 120, 240 left to right, lead positive',
    expected: 'counter-clockwise',
    got: said([0, 120, 240]),
  },
  ...['CBA', 'BAC', 'ACB'].map((labels) => ({
    ...PRACTICE,
    what: `${labels} has the rotation of CBA`,
    expected: 'ACB',
    got: () => sequenceOfLabels([...labels]) ?? 'none',
  })),
  ...['ABC', 'BCA', 'CAB'].map((labels) => ({
    ...PRACTICE,
    what: `${labels} has the rotation of ABC`,
    expected: 'ABC',
    got: () => sequenceOfLabels([...labels]) ?? 'none',
  })),
  {
    source: 'IEC 60034-8, motor manual pages: exchanging two leads reverses',
    confidence: 'high',
    tolerance: 0,
    what: 'exchanges of two leads that reverse',
    expected: 3,
    got: () => leadsToExchange('ABC', 'ACB').length,
  },
];

/** The common-practice patterns that are not a rotation, and what they are called. */
const patterns: CheckRow[] = [
  [[0, 0, 120], 'two-on-one-phase', 'two leads on one phase'],
  [[0, 60, 120], 'one-reversed', 'the middle of three read the wrong way round'],
  [[0, 180, 90], 'half-turn-apart', 'the legs of a high-leg delta to neutral'],
].map(([angles, expected, what]) => ({
  ...PRACTICE,
  what: `${what}: ${(angles as number[]).join(', ')}`,
  expected: expected as string,
  got: said(angles as number[]),
}));

const exchanges = ['ACB', 'CBA', 'BAC'].map(
  (found): CheckRow => ({
    ...PRACTICE,
    source: 'IEC 60034-8 (exchanging two leads reverses); permutations',
    what: `of the exchanges that turn ${found} into the rotation of ABC, those that give A-B-C itself`,
    expected: 1,
    got: () => {
      const change = leadChange(found, 'ABC');
      if (change.kind !== 'exchange' || change.exchanges.some((e) => sequenceOfLabels(e.gives) !== 'ABC'))
        return change.kind;
      return change.exchanges.filter((e) => e.isExact).length;
    },
  }),
);

/** Every three-phase bus of two solved feeders, in all six viewing orders: unbalanced, loaded, partly behind a delta-wye substation. */
const feeders = ['ieee13', 'ieee34'].map((feeder): CheckRow => {
  const nodes = Map.groupBy(csv(`${feeder}_solved_opendss.csv`), (r) => r.node!);
  const buses = [...nodes.values()]
    .map((rows) => new Map(rows.map((r) => [r.phase!, Number(r.angle_deg)])))
    .filter((b) => b.size === 3);
  const orders = ['ABC', 'BCA', 'CAB', 'ACB', 'CBA', 'BAC'];
  return {
    what: `${feeder}: wrong or undecided among ${buses.length} buses in six viewing orders`,
    source: 'OpenDSS solution of the IEEE PES test feeder',
    confidence: 'high',
    expected: 0,
    got: () =>
      buses.flatMap((bus) =>
        orders.filter((o) => rotation([...o].map((p) => bus.get(p)!)).sequence !== sequenceOfLabels([...o])),
      ).length,
    tolerance: 0,
  };
});

export const rows: readonly CheckRow[] = [...practice, ...patterns, ...exchanges, ...feeders];
