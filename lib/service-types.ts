/**
 * Kinds of low-voltage service, as the phasors of their legs to the neutral. Nominal voltages: ANSI C84.1 Table 1 (from memory) and
 * IEC 60038 (public listings). The high leg of a four-wire delta stands at sqrt 3 / 2 of the line voltage, a quarter turn from the others.
 */
import { type Phasor, phasor } from './phasor';

export type ServiceKind = 'wye' | 'two-wye-legs' | 'split-phase' | 'high-leg-delta' | 'three-wire';

export interface ServiceType {
  readonly name: string;
  readonly kind: ServiceKind;
  /** conductors, the neutral counted */
  readonly wires: number;
  /** nominal, between legs, volts */
  readonly lineV: number;
  /** nominal, leg to neutral (not the high leg), volts; null without a neutral */
  readonly legV: number | null;
}

/** One way in which the legs, as they were read, may be connected. */
export interface Arrangement {
  /** null: no service, but legs that were read twice or share a phase */
  readonly service: ServiceType | null;
  readonly legs: readonly Phasor[];
  readonly highLeg: number | null;
}

const service = (name: string, kind: ServiceKind, wires: number, lineV: number, legV: number | null): ServiceType =>
  Object.freeze({ name, kind, wires, lineV, legV });

const WYES = [
  ['208Y/120', 208, 120],
  ['480Y/277', 480, 277],
  ['600Y/347', 600, 347],
  ['230/400', 400, 230],
  ['400/690', 690, 400],
] as const;

const wyes = WYES.map(([name, lineV, legV]) => service(name, 'wye', 4, lineV, legV));
const twoLegs = WYES.map(([name, lineV, legV]) => service(`two legs of ${name}`, 'two-wye-legs', 3, lineV, legV));
const splitPhase = service('120/240 single-phase', 'split-phase', 3, 240, 120);
const highLeg = service('240/120 high-leg delta', 'high-leg-delta', 4, 240, 120);
const threeWires = [240, 480, 600].map((v) => service(`${v} three-wire`, 'three-wire', 3, v, null));

export const SERVICE_TYPES: readonly ServiceType[] = Object.freeze([
  ...wyes,
  ...twoLegs,
  splitPhase,
  highLeg,
  ...threeWires,
]);

const arrangement = (of: ServiceType | null, legs: readonly Phasor[], high: number | null = null): Arrangement =>
  Object.freeze({ service: of, legs: Object.freeze(legs), highLeg: high });

const legs = (volts: number, ...anglesDeg: readonly number[]): Phasor[] => anglesDeg.map((a) => phasor(volts, a));

function highAt(place: number): Arrangement {
  const placed = legs(120, 0, 180);
  placed.splice(place, 0, phasor(120 * Math.sqrt(3), 90));
  return arrangement(highLeg, placed, place);
}

/** Two or all legs on one phase of a wye, or on one leg of a split phase: what a tester must be able to tell from a service. */
const shared: readonly Arrangement[] = WYES.flatMap(([, , v]) => [
  legs(v, 0, 0),
  legs(v, 0, 0, 0),
  ...[120, 180].flatMap((odd) => [legs(v, 0, 0, odd), legs(v, 0, odd, 0), legs(v, odd, 0, 0)]),
]).map((l) => arrangement(null, l));

export const ARRANGEMENTS: readonly Arrangement[] = Object.freeze([
  ...wyes.map((w) => arrangement(w, legs(w.legV!, 0, -120, 120))),
  ...twoLegs.map((w) => arrangement(w, legs(w.legV!, 0, -120))),
  arrangement(splitPhase, legs(120, 0, 180)),
  ...[0, 1, 2].map(highAt),
  ...shared,
]);
