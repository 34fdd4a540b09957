/**
 * Where the story happens. Quillmere, its utility, feeders and crossings are invented; the positions lie on the open sea on purpose.
 * What the records say of these places is in network.json; here is what is really there.
 */
import { type Phase, type Voltage, voltageAt } from './feeder-truth';

export interface Place {
  readonly site: string;
  /** node of the solved feeder that lends its voltages */
  readonly node: string;
  /** what is really on each conductor, in viewing order */
  readonly phases: readonly Phase[];
  /** nominal voltage phase to phase, volts: 12.47 kV and 480 V are of ANSI C84.1, 115 kV of IEC 60038 */
  readonly nominalV: number;
  /** what the neighbouring feeder's own loading puts on top */
  readonly neighbour?: { readonly angleDeg: number; readonly pu: number };
}

const F7 = { angleDeg: -1.2, pu: 1.006 };
const mv = (site: string, node: string, phases: string): Place => ({
  site: `quillmere/${site}`,
  node,
  phases: [...phases] as Phase[],
  nominalV: 12_470,
});
const neighbour = (site: string, node: string, phases: string): Place => ({ ...mv(site, node, phases), neighbour: F7 });

export const REFERENCE = {
  id: 'quillmere-115',
  terminal: 'quillmere/sub/reference',
  place: { site: 'quillmere/sub', node: 'sourcebus', phases: ['A'], nominalV: 115_000 } as Place,
};

/** Feeder F3, then the sites of the neighbouring feeder F7 that face its open points. */
export const PLACES: readonly Place[] = [
  mv('F3/S101', 'rg60', 'ABC'),
  mv('F3/S104', '632', 'ABC'),
  mv('F3/S107', '633', 'ABC'),
  { ...mv('F3/S108', '634', 'ABC'), nominalV: 480 },
  mv('F3/S112', '671', 'ABC'),
  mv('F3/S115', '675', 'ABC'),
  mv('F3/S118', '680', 'ABC'),
  mv('F3/S121', '646', 'BC'),
  mv('F3/S124', '611', 'C'),
  mv('F3/S125', '652', 'A'),
  mv('F3/S126', '684', 'A'),
  // Nobody goes there in the story.
  mv('F3/S110', '670', 'ABC'),
  mv('F3/S122', '645', 'BC'),
  mv('F3/S127', '675', 'B'),
  neighbour('F7/R17', '632', 'ABC'),
  neighbour('F7/R23', '670', 'BCA'),
  neighbour('F7/R31', '671', 'ACB'),
  neighbour('F7/R42', '633', 'BCA'),
];

/** On the open sea where the equator meets Greenwich, so that nobody's street is meant. */
export function positionOf(place: Place): { readonly lat: number; readonly lon: number } {
  const i = PLACES.indexOf(place);
  const lat = 0.01 + 0.004 * (i % 5) + (place.neighbour ? 0.001 : 0);
  return { lat: Number(lat.toFixed(4)), lon: Number((0.02 + 0.006 * Math.floor(i / 5)).toFixed(4)) };
}

export const placeOf = new Map(PLACES.map((p) => [p.site, p]));

export const terminalOf = (place: Place, conductor: number): string => `${place.site}/${conductor + 1}`;

/** Voltage of one conductor of a place, counted from 0 in viewing order. */
export function voltageOf(place: Place, conductor: number): Voltage {
  const solved = voltageAt(place.node, place.phases[conductor]!);
  const { angleDeg, pu } = place.neighbour ?? { angleDeg: 0, pu: 1 };
  return { angleDeg: solved.angleDeg + angleDeg, pu: solved.pu * pu };
}

/** The phase that is really on each terminal. */
export const truePhase: ReadonlyMap<string, Phase> = new Map(
  PLACES.flatMap((place) => place.phases.map((phase, k) => [terminalOf(place, k), phase] as const)),
);

/** The phase that is really on the planted lateral, by section of the feeder. */
export const trueOn: ReadonlyMap<string, Phase> = new Map([
  ['F3/chapel-1', 'A'],
  ['F3/chapel-2', 'A'],
]);
