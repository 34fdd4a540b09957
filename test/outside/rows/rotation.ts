import { leadsToExchange, rotation, sequenceOfLabels } from '../../../lib/sequence';
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

export const rows: readonly CheckRow[] = [...practice, ...feeders];
