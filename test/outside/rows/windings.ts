import { separation } from '../../../lib/angle';
import type { Connection } from '../../../lib/records';
import { connectionAngle, pathShiftDeg, windingShiftDeg } from '../../../lib/windings';
import { csv } from '../data';
import type { CheckRow } from '../rows';

export const title = 'Vector groups and single-phase connections';

const clocks = csv('vector_group_clock.csv').flatMap((r) =>
  r
    .symbols!.split(' ')
    .filter((s) => /^[YD][ydz]\d+$/.test(s))
    .map(
      (group): CheckRow => ({
        what: `${group}: low minus high voltage, degrees`,
        source: 'IEC 60076-1 clock number, public page citing it',
        confidence: 'high',
        expected: 0,
        got: () => separation(windingShiftDeg(group), Number(r.lv_minus_hv_deg)),
        tolerance: 1e-9,
      }),
    ),
);

const PHASES = 'ABC';
const secondaries = csv('single_phase_secondary_angles.csv').flatMap((r) => {
  const [from, to] = r.primary_connection!.split('-') as [string, string];
  const connection: Connection = to === 'N' ? 'phase-neutral' : 'phase-phase';
  const base = {
    source: 'centre-tapped secondaries: leg 2 is half a turn from leg 1 (CIM text, read); angles computed',
    confidence: 'high' as const,
    expected: 0,
    tolerance: 1e-9,
  };
  return [
    {
      ...base,
      what: `${r.primary_connection}: leg 1`,
      got: () => separation(connectionAngle(PHASES.indexOf(from), connection), Number(r.s1_deg)),
    },
    {
      ...base,
      what: `${r.primary_connection}: leg 2`,
      got: () => separation(connectionAngle(PHASES.indexOf(from), `${connection}-reversed`), Number(r.s2_deg)),
    },
  ];
});

const facts: CheckRow[] = [
  {
    what: 'step-down delta-wye of North American practice: low voltage lags by 30',
    source: 'IEEE C57.12.00, public page: H leads X by 30 degrees',
    confidence: 'high',
    expected: -30,
    got: () => windingShiftDeg('Dyn1'),
    tolerance: 1e-9,
  },
  {
    what: 'reversed phase order at both sides turns clock 1 into 11',
    source: 'computed from the phasors',
    confidence: 'high',
    expected: 30,
    got: () => pathShiftDeg(['Dyn1'], 'ACB'),
    tolerance: 1e-9,
  },
];

export const rows: readonly CheckRow[] = [...clocks, ...secondaries, ...facts];
