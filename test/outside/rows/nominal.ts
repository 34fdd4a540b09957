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

const iec: CheckRow[] = [
  ['230/400', 230, 'phase-to-neutral'],
  ['400/690', 690, 'phase-to-phase'],
  ['277/480', 277, 'phase-to-neutral'],
  ['11 kV', 11000, 'phase-to-phase'],
  ['20 kV', 20000, 'phase-to-phase'],
  ['24.94 kV', 24940, 'phase-to-phase'],
].map(([name, volts, voltageIs]) => ({
  what: `${volts} V ${voltageIs}`,
  source: 'IEC 60038, public listings of the standard',
  confidence: 'high' as const,
  expected: name as string,
  got: () => {
    const m = nominalSystem(volts as number, 'IEC 60038', { voltageIs: voltageIs as 'phase-to-phase' });
    return m.matched ? m.system.name : 'none';
  },
  tolerance: 0,
}));

const highest = csv('iec_60038.csv')
  .filter((r) => /^[\d.]+ kV$/.test(r.nominal!) && /^[\d.]+ /.test(r.highest_voltage_for_equipment!))
  .map(
    (r): CheckRow => ({
      what: `${r.nominal}: highest voltage for equipment, kV`,
      source: `IEC 60038, ${r.source}`,
      confidence: 'high',
      expected: Number.parseFloat(r.highest_voltage_for_equipment!),
      got: () =>
        (NOMINAL_SYSTEMS.find((s) => s.standard === 'IEC 60038' && s.name === r.nominal)?.highestV ?? Number.NaN) /
        1000,
      tolerance: 1e-9,
      ...(r.highest_voltage_for_equipment!.includes('prints') ? { note: r.highest_voltage_for_equipment! } : {}),
    }),
  );

export const rows: readonly CheckRow[] = [...limits, ...iec, ...highest];
