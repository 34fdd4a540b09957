import { nominalSystem } from '../../../lib/nominal';
import { NOMINAL_SYSTEMS } from '../../../lib/nominal-systems';
import { csv } from '../data';
import type { CheckRow } from '../rows';

export const title = 'Nominal voltage systems';

/** Just inside and just outside every printed service limit. */
const limits = csv('ansi_c84_1_service.csv').flatMap((r) => {
  const nominal = Number(r.nominal_ll_v);
  const name =
    r.nominal === '120/240 1ph 3w'
      ? '120/240 single-phase'
      : r.nominal === '240/120 delta 4w'
        ? '240/120 delta'
        : r.nominal!;
  const system = NOMINAL_SYSTEMS.find((s) => s.standard === 'ANSI C84.1' && s.name === name);
  const rangeAt = (volts: number) => () => {
    const m = nominalSystem(volts, 'ANSI C84.1', { voltageIs: 'phase-to-phase' });
    return m.matched && m.system.phaseToPhaseV === nominal
      ? m.range
      : `taken for ${m.matched ? m.system.name : 'none'}`;
  };
  const base = {
    source: 'ANSI C84.1 Table 1, from memory',
    confidence: r.confidence as CheckRow['confidence'],
    tolerance: 0,
  };
  const step = nominal < 1000 ? 0.5 : 5;
  const rows: CheckRow[] = [
    { ...base, what: `${name} is in the table`, expected: nominal, got: () => system?.phaseToPhaseV ?? Number.NaN },
  ];
  // Several systems share a line voltage; their limits are checked on the one the search finds first.
  const shared = NOMINAL_SYSTEMS.filter((s) => s.standard === 'ANSI C84.1' && s.phaseToPhaseV === nominal);
  if (shared[0] !== system) return rows;
  const neighbour = (v: number) =>
    NOMINAL_SYSTEMS.some(
      (s) =>
        s.standard === 'ANSI C84.1' &&
        s.phaseToPhaseV !== nominal &&
        Math.abs(v / s.phaseToPhaseV - 1) < Math.abs(v / nominal - 1),
    );
  const at = (volts: number, expected: string): CheckRow[] =>
    neighbour(volts) ? [] : [{ ...base, what: `${volts} V on ${name}`, expected, got: rangeAt(volts) }];
  const [aMin, aMax, bMin, bMax] = [r.A_service_min, r.A_service_max, r.B_service_min, r.B_service_max].map(Number) as [
    number,
    number,
    number,
    number,
  ];
  return [
    ...rows,
    ...at(aMin, 'A'),
    ...at(aMax, 'A'),
    ...at(aMin - step, 'B'),
    ...at(aMax + step, 'B'),
    ...at(bMin - step, 'outside'),
    ...at(bMax + step, 'outside'),
  ];
});

/** `3.3 / 3 kV` and `(15) kV` of the listing as volts: the figures of one system, the bracketed ones too. */
const figures = (text: string, unit: number): number[] => [...text.matchAll(/[\d.]+/g)].map((m) => Number(m[0]) * unit);

const iec = csv('iec_60038.csv').flatMap((r) => {
  const isKilo = r.nominal!.includes('kV');
  const volts = figures(r.nominal!, isKilo ? 1000 : 1);
  const pairs = isKilo
    ? volts.map((v) => [v, 'phase-to-phase'] as const)
    : volts.map((v, i) => [v, i < volts.length - 1 ? 'phase-to-neutral' : 'phase-to-phase'] as const);
  return pairs.map(
    ([v, voltageIs]): CheckRow => ({
      what: `${v} V ${voltageIs} (${r.band}, ${r.hz} Hz)`,
      source: `IEC 60038, ${r.source}`,
      confidence: 'high',
      expected: v,
      got: () => {
        const m = nominalSystem(v, 'IEC 60038', { voltageIs });
        return m.matched ? m.nominalV : Number.NaN;
      },
      tolerance: 1e-9,
    }),
  );
});

const highest = csv('iec_60038.csv').flatMap((r) => {
  const [kilovolts] = figures(r.highest_voltage_for_equipment!, 1);
  if (kilovolts === undefined) return [];
  const misprint = /page prints ([\d.]+)/.exec(r.highest_voltage_for_equipment!)?.[1];
  return figures(r.nominal!, 1000).map(
    (nominal): CheckRow => ({
      what: `${nominal / 1000} kV: highest voltage for equipment, kV`,
      source: `IEC 60038, ${r.source}`,
      confidence: 'high',
      expected: kilovolts,
      got: () =>
        (NOMINAL_SYSTEMS.find((s) => s.standard === 'IEC 60038' && s.phaseToPhaseV === nominal)?.highestV ??
          Number.NaN) / 1000,
      tolerance: 1e-9,
      ...(misprint ? { wrongInSource: Number(misprint) } : {}),
    }),
  );
});

/** Ranges by class in percent, against the printed volts: the last digit is rounding (within 0.6 % above 600 V, see the table). */
const percents = csv('ansi_c84_1_percent.csv').flatMap((r) => {
  const isLow = r.class === '120-600 V';
  const key = r.range === 'A' ? 'rangeA' : 'rangeB';
  return (['min', 'max'] as const).map((end, i): CheckRow => {
    const limit = Number(r[`service_${end}_pct`]);
    return {
      what: `${r.class} range ${r.range}: largest departure of the ${end} of a system from ${limit} %, in percent`,
      source: 'ANSI C84.1, from memory',
      confidence: 'high',
      expected: 0,
      got: () =>
        Math.max(
          ...NOMINAL_SYSTEMS.filter((s) => s.standard === 'ANSI C84.1' && s.phaseToPhaseV <= 600 === isLow).map((s) =>
            Math.abs(100 * (s[key]![i]! / s.phaseToPhaseV - 1) - limit),
          ),
        ),
      tolerance: 0.65,
      note: 'printed volts are rounded',
    };
  });
});

export const rows: readonly CheckRow[] = [...limits, ...percents, ...iec, ...highest];
