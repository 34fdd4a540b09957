import { neutralCurrent, symmetricalComponents } from '../../../lib/components';
import { type Phasor, phasor } from '../../../lib/phasor';
import { csv, json } from '../data';
import type { CheckRow } from '../rows';

export const title = 'Symmetrical components and neutral current';

type Polar = [magnitude: number, angleDeg: number | null];
type Name = 'zero' | 'positive' | 'negative';
const NAMES: readonly Name[] = ['zero', 'positive', 'negative'];
const of = ([magnitude, angleDeg]: Polar): Phasor => phasor(magnitude, angleDeg ?? 0);

interface Worked {
  id: string;
  inputs: Record<'A' | 'B' | 'C', Polar>;
  published: Partial<Record<Name, Polar>>;
  source: string;
  confidence: string;
}

/** Printed to three or four digits. */
const PRINTED = 0.01;

function worked({ id, inputs, published, source, confidence }: Worked): CheckRow[] {
  const turned = confidence.startsWith('SIGN');
  const got = () => symmetricalComponents(of(inputs.A), of(inputs.B), of(inputs.C));
  // A text that calls B leading A "positive" has positive and negative the other way round.
  const ours = (name: Name): Name =>
    turned && name !== 'zero' ? (name === 'positive' ? 'negative' : 'positive') : name;
  return NAMES.flatMap((name) => {
    const printed = published[name];
    if (!printed) return [];
    const base = {
      source,
      confidence: 'high' as const,
      ...(turned ? { note: 'the text uses the opposite order' } : {}),
    };
    const rows: CheckRow[] = [
      {
        ...base,
        what: `${id}: magnitude of ${name}`,
        expected: printed[0],
        got: () => got()[ours(name)].magnitude,
        tolerance: PRINTED,
      },
    ];
    if (printed[1] !== null && printed[0] > 0) {
      rows.push({
        ...base,
        what: `${id}: angle of ${name}`,
        expected: printed[1],
        got: () => got()[ours(name)].angleDeg,
        tolerance: 0.01,
      });
    }
    return rows;
  });
}

interface Captured {
  capture: string;
  frame: number;
  abc: [Polar, Polar, Polar];
  device_positive: Polar;
}

function captured({ capture, frame, abc, device_positive }: Captured, index: number): CheckRow {
  return {
    what: `capture ${index + 1}, frame ${frame}: positive sequence of a device`,
    source: `public capture ${capture} of a synchrophasor stream`,
    confidence: 'high',
    expected: device_positive[0],
    got: () => symmetricalComponents(of(abc[0]), of(abc[1]), of(abc[2])).positive.magnitude,
    // The capture's own phasors and positive sequence agree to 0.032 % TVE at worst.
    tolerance: device_positive[0] * 4e-4,
  };
}

function solved(): CheckRow[] {
  const phases = csv('ieee13_solved_opendss.csv');
  return csv('ieee13_seqvoltages_opendss.csv').flatMap((row) => {
    const bus = row.Bus!.toLowerCase();
    const at = (phase: string) => phases.find((p) => p.node === bus && p.phase === phase);
    const [a, b, c] = ['A', 'B', 'C'].map(at);
    if (!a || !b || !c) return [];
    const read = (p: Record<string, string>) => phasor(Number(p.v_volts_ln), Number(p.angle_deg));
    return (['V1', 'V2'] as const).map(
      (column): CheckRow => ({
        what: `13-node feeder, bus ${bus}: ${column}, volts`,
        source: 'OpenDSS solution of the IEEE PES 13-node test feeder',
        confidence: 'high',
        expected: Number(row[column]),
        got: () =>
          symmetricalComponents(read(a), read(b), read(c))[column === 'V1' ? 'positive' : 'negative'].magnitude,
        // Angles are exported to 1e-4 degrees, magnitudes to six digits.
        tolerance: Math.max(0.01, Number(a.v_volts_ln) * 4e-6),
      }),
    );
  });
}

interface Neutral {
  amps?: [number, number, number];
  computed: number;
  published: number | string;
  source: string;
  verdict: string;
}

function neutral({ amps, computed, published, source, verdict }: Neutral): CheckRow[] {
  if (!amps || typeof published !== 'number') return [];
  const wrong = verdict.startsWith('WRONG');
  const [a, b, c] = amps;
  return [
    {
      what: `neutral current of ${amps.join(', ')} A`,
      source,
      confidence: 'high',
      expected: wrong ? computed : published,
      got: () => neutralCurrent(phasor(a, 0), phasor(b, -120), phasor(c, 120)).magnitude,
      tolerance: 0.005,
      ...(wrong ? { wrongInSource: published, note: verdict } : {}),
    },
  ];
}

export const rows: readonly CheckRow[] = [
  ...json<Worked[]>('symmetrical_components.json').flatMap(worked),
  ...json<Captured[]>('device_positive_sequence.json').map(captured),
  ...solved(),
  ...json<Neutral[]>('neutral_current.json').flatMap(neutral),
];
