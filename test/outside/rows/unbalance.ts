import { minus, phasor } from '../../../lib/phasor';
import {
  deratingFactor,
  lineVoltageUnbalance,
  negativeSequenceUnbalance,
  negativeSequenceUnbalanceFromLines,
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

function opendss(feeder: string): CheckRow[] {
  const phases = csv(`${feeder}_solved_opendss.csv`);
  return csv(`${feeder}_seqvoltages_opendss.csv`).flatMap((row) => {
    const bus = row.Bus!.toLowerCase();
    const found = ['A', 'B', 'C'].map((p) => phases.find((r) => r.node === bus && r.phase === p));
    if (found.some((f) => !f)) return [];
    const [a, b, c] = found.map((f) => phasor(Number(f!.v_volts_ln), Number(f!.angle_deg))) as [
      ReturnType<typeof phasor>,
      ReturnType<typeof phasor>,
      ReturnType<typeof phasor>,
    ];
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

const derating = csv('nema_derating.csv')
  .filter((r) => Number.isInteger(Number(r.unbalance_pct)))
  .map(
    (r): CheckRow => ({
      what: `derating factor at ${r.unbalance_pct} %`,
      source: r.source!,
      confidence: r.confidence as CheckRow['confidence'],
      expected: Number(r.derating_factor),
      got: () => deratingFactor(Number(r.unbalance_pct)) ?? Number.NaN,
      tolerance: 1e-9,
    }),
  );

export const rows: readonly CheckRow[] = [
  ...json<Example[]>('unbalance_examples.json').map(nema),
  ...opendss('ieee13'),
  ...opendss('ieee34'),
  ...derating,
];
