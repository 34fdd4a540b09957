import { minus, type Phasor, phasor } from '../../../lib/phasor';
import {
  deratingFactor,
  lineVoltageUnbalance,
  negativeSequenceUnbalance,
  negativeSequenceUnbalanceFromLines,
  phaseVoltageUnbalance,
} from '../../../lib/unbalance';
import { csv, json } from '../data';
import type { CheckRow } from '../rows';

export const title = 'Unbalance: line-voltage deviation, V2/V1, derating';

interface Example {
  id: string;
  kind: string;
  values: [number, number, number];
  nema_pct_computed: number;
  iec_v2_over_v1_pct_from_LL_magnitudes_computed?: number;
  published_pct: number;
  source: string;
  note?: string;
}

/** Printed figures that a rounded average or a slip made wrong; the true ones are recomputed from the printed voltages. */
const WRONG = new Set(['ex220', '4wd grounded wye-delta', '4wd current grounded wye-delta']);

function nema({ id, values, nema_pct_computed, published_pct, source, note }: Example): CheckRow {
  const wrong = WRONG.has(id);
  const decimals = String(published_pct).split('.')[1]?.length ?? 0;
  return {
    what: `${id}: largest deviation from the mean of ${values.join(', ')}, percent`,
    source,
    confidence: 'high',
    expected: wrong ? nema_pct_computed : published_pct,
    got: () => lineVoltageUnbalance(...values),
    // Half a unit of the printed digit; printed voltages have two decimals, which moves four-digit figures by up to 0.0062.
    tolerance: wrong ? 1e-4 : decimals >= 4 ? 7e-3 : 0.5 * 10 ** -decimals + (decimals === 1 ? 0 : 1e-3),
    ...(wrong ? { wrongInSource: published_pct } : {}),
    ...(note ? { note } : {}),
  };
}

/** V2/V1 of the same examples, recomputed outside from phasors. */
function iec({ id, values, iec_v2_over_v1_pct_from_LL_magnitudes_computed: expected }: Example): CheckRow[] {
  if (expected === undefined) return [];
  return [
    {
      what: `${id}: V2/V1 from ${values.join(', ')}, percent`,
      source: 'IEC 61000-4-30, formula from memory, recomputed outside the project',
      confidence: 'high',
      expected,
      got: () => negativeSequenceUnbalanceFromLines(...values),
      tolerance: 1e-4,
    },
  ];
}

const REPORT = 'IEEE PES wye-delta centre-tapped transformer test feeder report';
const MANUAL = 'public manual and handbook pages';

/** [values, true figure, printed figure if it is wrong, source] beyond the worked examples of the file. */
const MORE: [values: [number, number, number], expected: number, tolerance: number, source: string, wrong?: number][] =
  [
    [[203, 210, 212], 2.56, 1e-4, `${MANUAL}: prints 2.5 %, from a rounded average`, 2.5],
    [[208, 206, 199], 2.6101, 1e-4, MANUAL, 2.3],
    [[230.93, 233.2, 230.83], 0.6677, 1e-4, `${REPORT}, leading open wye-delta, motor line voltages`, 0.7103],
    [[60.06, 51.2, 55.94], 8.1399, 7e-3, `${REPORT}, motor line currents`],
  ];
const more = MORE.map(
  ([values, expected, tolerance, source, wrongInSource]): CheckRow => ({
    what: `largest deviation from the mean of ${values.join(', ')}, percent`,
    source,
    confidence: 'high',
    expected,
    got: () => lineVoltageUnbalance(...values),
    tolerance,
    ...(wrongInSource === undefined ? {} : { wrongInSource }),
  }),
);

/** Line and phase figures of one bus: taking one for the other is the mistake the functions' names are there to prevent. */
const mixed: CheckRow[] = [
  {
    what: 'ieee13 671: largest deviation of the PHASE voltages, percent; not the line figure',
    source: 'OpenDSS solution of the IEEE PES 13-node test feeder; rule of IEEE 112-1991, from memory',
    confidence: 'high',
    expected: 4.574,
    got: () => {
      const volts = csv('ieee13_solved_opendss.csv')
        .filter((r) => r.node === '671' && ['A', 'B', 'C'].includes(r.phase!))
        .map((r) => Number(r.v_volts_ln));
      return phaseVoltageUnbalance(...(volts as [number, number, number]));
    },
    tolerance: 1e-3,
    note: 'the line figure of this bus is 1.704',
  },
];

function opendss(feeder: string): CheckRow[] {
  const phases = csv(`${feeder}_solved_opendss.csv`);
  return csv(`${feeder}_seqvoltages_opendss.csv`).flatMap((row) => {
    const bus = row.Bus!.toLowerCase();
    const found = ['A', 'B', 'C'].map((p) => phases.find((r) => r.node === bus && r.phase === p));
    if (found.some((f) => !f)) return [];
    const [a, b, c] = found.map((f) => phasor(Number(f!.v_volts_ln), Number(f!.angle_deg))) as [Phasor, Phasor, Phasor];
    const lines = [minus(a, b), minus(b, c), minus(c, a)].map((l) => l.magnitude) as [number, number, number];
    const base = {
      source: `OpenDSS solution of the IEEE PES ${feeder.slice(4)}-node test feeder`,
      confidence: 'high' as const,
      tolerance: 2e-3,
    };
    return [
      {
        ...base,
        what: `${feeder} ${bus}: V2/V1 from phasors, percent`,
        expected: Number(row['%V2/V1']),
        got: () => negativeSequenceUnbalance(a, b, c),
      },
      {
        ...base,
        what: `${feeder} ${bus}: V2/V1 from three line magnitudes, percent`,
        expected: Number(row['%V2/V1']),
        got: () => negativeSequenceUnbalanceFromLines(...lines),
      },
      {
        ...base,
        what: `${feeder} ${bus}: line-voltage unbalance, percent`,
        expected: Number(row['%NEMA']),
        got: () => lineVoltageUnbalance(...lines),
      },
    ];
  });
}

const derating = csv('nema_derating.csv').map(
  (r): CheckRow => ({
    what: `derating factor at ${r.unbalance_pct} %`,
    source: r.source!,
    confidence: r.confidence as CheckRow['confidence'],
    expected: Number(r.derating_factor),
    got: () => deratingFactor(Number(r.unbalance_pct)) ?? Number.NaN,
    // Pages that say "about" or "near" are met to a hundredth.
    tolerance: Number.isInteger(Number(r.unbalance_pct)) ? 1e-9 : 0.01,
  }),
);

export const rows: readonly CheckRow[] = [
  ...json<Example[]>('unbalance_examples.json').map(nema),
  ...more,
  ...json<Example[]>('unbalance_examples.json').flatMap(iec),
  ...mixed,
  ...opendss('ieee13'),
  ...opendss('ieee34'),
  ...derating,
];
