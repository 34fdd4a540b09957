import { difference } from '../../../lib/angle';
import { type ServiceReadings, serviceType } from '../../../lib/services';
import { csv, json } from '../data';
import type { CheckRow } from '../rows';

export const title = 'Kinds of service';

function told(readings: ServiceReadings): string {
  const found = serviceType(readings);
  if (!found.decided) return found.reasons.map((r) => r.code).join(', ');
  return found.highLeg === null ? found.service.name : `${found.service.name}, leg ${found.highLeg + 1} high`;
}

type Polar = readonly [voltageV: number, angleDeg: number];
const leg = ([voltageV, angleDeg]: Polar) => ({ voltageV, angleDeg });
const volts = ([voltageV]: Polar) => ({ voltageV });

interface FourWire {
  cases: Record<
    string,
    {
      secondary_terminal: Record<'Vab' | 'Vbc' | 'Vca', Polar>;
      derived_to_neutral: Record<'a' | 'b' | 'c_high_leg', Polar>;
    }
  >;
}

/** Closed and open four-wire deltas, loaded: the high leg stands at 198 to 204 V, 88 to 91 degrees from leg a. */
const fourWire = Object.entries(json<FourWire>('four_wire_delta_published.json').cases).flatMap(([name, c]) => {
  const legs = [c.derived_to_neutral.a, c.derived_to_neutral.b, c.derived_to_neutral.c_high_leg];
  const lines = [c.secondary_terminal.Vab, c.secondary_terminal.Vbc, c.secondary_terminal.Vca].map(volts);
  const ways: [string, ServiceReadings][] = [
    ['magnitudes to neutral', { legs: legs.map(volts) }],
    ['legs with angles', { legs: legs.map(leg) }],
    ['legs and voltages between them', { legs: legs.map(volts), lines }],
  ];
  return ways.map(
    ([way, readings]): CheckRow => ({
      what: `${name}, ${way}`,
      source: 'IEEE PES wye-delta centre-tapped transformer test feeder report, printed results',
      confidence: 'high',
      expected: '240/120 high-leg delta, leg 3 high',
      got: () => told(readings),
      tolerance: 0,
    }),
  );
});

/** Legs s1 and s2 of every centre-tapped transformer of the 8500-node feeder; its 120 V legs, by magnitude and angle. */
function splitPhase(): { readonly pairs: number; readonly named: number; readonly fromHalfTurnDeg: number } {
  const rows = csv('ieee8500unbal_solved_opendss.csv.gz').filter((r) => r.secondary_leg);
  const pairs = [...Map.groupBy(rows, (r) => r.node!).values()]
    .filter((p) => p.length === 2)
    .map((p) => p.map((r): Polar => [Number(r.v_volts_ln), Number(r.angle_deg)]));
  return {
    pairs: pairs.length,
    named: pairs.filter((p) => told({ legs: p.map(leg) }) === '120/240 single-phase').length,
    fromHalfTurnDeg: Math.max(...pairs.map(([a, b]) => Math.abs(difference(a![1] - b![1], 180)))),
  };
}
const OPENDSS = 'OpenDSS solution of the IEEE PES';
let kept: ReturnType<typeof splitPhase> | undefined;
const split = () => {
  kept ??= splitPhase();
  return kept;
};
const services8500: CheckRow[] = [
  {
    what: '8500-node feeder: services of two legs, of which 120/240 single-phase',
    source: `${OPENDSS} 8500-node test feeder: 4,708 service legs`,
    confidence: 'high',
    expected: 2354,
    got: () => split().named,
    tolerance: 0,
    note: 'all of them: two legs of one centre-tapped transformer each',
  },
  {
    what: '8500-node feeder: farthest that two legs stand from half a turn, degrees',
    source: `${OPENDSS} 8500-node test feeder; legs 180 degrees apart by the CIM text`,
    confidence: 'high',
    expected: 0,
    got: () => split().fromHalfTurnDeg,
    tolerance: 2,
  },
];

const wye: CheckRow = {
  what: '13-node feeder, bus 634 (480 V, unbalanced load)',
  source: `${OPENDSS} 13-node test feeder`,
  confidence: 'high',
  expected: '480Y/277',
  got: () =>
    told({
      legs: csv('ieee13_solved_opendss.csv')
        .filter((r) => r.node === '634')
        .map((r) => leg([Number(r.v_volts_ln), Number(r.angle_deg)])),
    }),
  tolerance: 0,
};

/** [legs, between them, what it is]: nominal voltages of the tables. */
const NOMINAL: [legs: number[], lines: number[], expected: string, source: string][] = [
  [[120, 120, 120], [208, 208, 208], '208Y/120', 'ANSI C84.1 Table 1, from memory'],
  [[277, 277, 277], [480, 480, 480], '480Y/277', 'ANSI C84.1 Table 1, from memory'],
  [[347, 347, 347], [600, 600, 600], '600Y/347', 'IEC 60038, public listings'],
  [[230, 230, 230], [400, 400, 400], '230/400', 'IEC 60038, public listings'],
  [[400, 400, 400], [690, 690, 690], '400/690', 'IEC 60038, public listings'],
  [[120, 120], [240], '120/240 single-phase', 'ANSI C84.1 Table 1, from memory'],
  [[120, 120], [208], 'two legs of 208Y/120', 'common practice, no source'],
  [[208, 120, 120], [240, 240, 240], '240/120 high-leg delta, leg 1 high', 'ANSI C84.1 Table 1, from memory'],
];
const nominal = NOMINAL.map(
  ([legs, lines, expected, source]): CheckRow => ({
    what: `${legs.join(', ')} V to neutral, ${lines.join(', ')} V between`,
    source,
    confidence: 'high',
    expected,
    got: () => told({ legs: legs.map((v) => ({ voltageV: v })), lines: lines.map((v) => ({ voltageV: v })) }),
    tolerance: 0,
  }),
);

export const rows: readonly CheckRow[] = [...nominal, ...fourWire, wye, ...services8500];
