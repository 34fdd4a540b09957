/** What moves as one piece at one tap, and where it may go. */
import type { Feeder } from '../feeder/model';
import type { Loading, PlacedLoad } from './model';
import { addPower } from './power';
import { lifted } from './through-transformer';

/** Where each of the three phases goes: recorded phase index to phase index; -1 when the unit does not have it. */
export type PhaseMap = readonly [number, number, number];

export interface MovableUnit {
  readonly id: string;
  readonly kind: 'load' | 'lateral';
  /** section from which upwards it is felt; 0 is the source */
  readonly feltAt: number;
  /** phases it is on, as indices, in recorded order */
  readonly phases: readonly number[];
  readonly loads: readonly PlacedLoad[];
  readonly cost: number;
  readonly onlyRolls: boolean;
  readonly terminals: readonly string[];
  /** states[0] leaves it where it is */
  readonly states: readonly PhaseMap[];
}

export interface Units {
  readonly units: readonly MovableUnit[];
  /** loads that stay: fixed ones; those of unknown phase are not among them */
  readonly fixed: readonly PlacedLoad[];
  /** sections within something that moves */
  readonly inside: Uint8Array;
}

export function unitsOf(loading: Loading): Units {
  const { feeder, document, loads } = loading;
  const lateralOf = new Int32Array(feeder.count).fill(-1);
  const laterals = document.laterals ?? [];
  laterals.forEach((l, i) => {
    lateralOf[feeder.indexOf.get(l.section)!] = i;
  });
  for (let v = 1; v < feeder.count; v++) if (lateralOf[v] === -1) lateralOf[v] = lateralOf[feeder.parent[v]!]!;
  const known = loads.filter((l) => l.phases.length > 0);
  const units: MovableUnit[] = laterals.map((l, i) => {
    const head = feeder.indexOf.get(l.section)!;
    const inside = known.filter((load) => lateralOf[load.section] === i);
    const recorded = document.sections.find((s) => s.id === l.section)?.phases ?? phasesOfMask(feeder, head);
    const phases = recorded.map((p) => feeder.phases.indexOf(p));
    const threePhase = l.threePhase === true || inside.some((x) => x.entry.threePhase || x.phases.length === 3);
    return unit(feeder, l.section, 'lateral', feeder.parent[head]!, phases, inside, l.cost, threePhase, l.terminals);
  });
  for (const load of known) {
    const { entry, section, phases } = load;
    if (!entry.movable) continue;
    units.push(
      unit(feeder, entry.id, 'load', section, phases, [load], entry.cost, entry.threePhase === true, entry.terminals),
    );
  }
  const fixed = known.filter((l) => lateralOf[l.section] === -1 && !l.entry.movable);
  return { units, fixed, inside: Uint8Array.from(lateralOf, (i) => (i === -1 ? 0 : 1)) };
}

const phasesOfMask = (feeder: Feeder, v: number): string[] =>
  feeder.phases.filter((_, k) => (feeder.mask[v]! >> k) & 1);

function unit(
  feeder: Feeder,
  id: string,
  kind: MovableUnit['kind'],
  feltAt: number,
  phases: readonly number[],
  loads: readonly PlacedLoad[],
  cost = 1,
  threePhase: boolean,
  terminals: readonly string[] = [],
): MovableUnit {
  const onlyRolls = threePhase || phases.length === 3;
  const mask = feltAt === 0 ? 7 : feeder.mask[feltAt]!;
  return { id, kind, feltAt, phases, loads, cost, onlyRolls, terminals, states: statesOf(phases, mask, onlyRolls) };
}

/**
 * Where the conductors of a unit may go: every placing on different phases that are present, or only rolls, which keep the rotation
 * of a three-phase customer. Rolling three phases by one or two places keeps their sequence, a swap of two reverses it.
 */
export function statesOf(phases: readonly number[], presentMask: number, onlyRolls: boolean): PhaseMap[] {
  const out: PhaseMap[] = [];
  for (const target of onlyRolls ? ROLLS : ALL) {
    const map = [0, 1, 2].map((p) => (phases.includes(p) ? target[p]! : -1)) as unknown as PhaseMap;
    if (phases.some((p) => !((presentMask >> target[p]!) & 1))) continue;
    if (!out.some((o) => o.every((x, k) => x === map[k]))) out.push(map);
  }
  return out;
}

const ROLLS: readonly PhaseMap[] = [
  [0, 1, 2],
  [1, 2, 0],
  [2, 0, 1],
];
const ALL: readonly PhaseMap[] = [...ROLLS, [1, 0, 2], [0, 2, 1], [2, 1, 0]];

/** Powers that a unit draws at the section where it is felt, six numbers a snapshot, when its phases go where the map says. */
export function unitPowers(loading: Loading, { loads, feltAt }: MovableUnit, map: PhaseMap): Float64Array {
  const powers = new Float64Array(6 * loading.snapshots.length);
  for (const l of loads) {
    const own = loadPowers(
      loading,
      l,
      l.phases.map((p) => map[p]!),
    );
    const seen = carriedUp(loading, own, l.section, feltAt);
    for (let i = 0; i < powers.length; i++) powers[i]! += seen[i]!;
  }
  return powers;
}

/** Powers of a load on these phases, six numbers a snapshot. */
export function loadPowers({ rule, snapshots }: Loading, l: PlacedLoad, phases: readonly number[]): Float64Array {
  const powers = new Float64Array(6 * snapshots.length);
  for (let t = 0; t < snapshots.length; t++) {
    const power = { kW: l.kW[t]!, kvar: l.kvar[t]!, toNeutral: l.toNeutral };
    addPower(powers.subarray(6 * t, 6 * t + 6), power, phases, rule);
  }
  return powers;
}

/** Powers at a section as a section above it sees them; in place. */
export function carriedUp({ feeder, lifts }: Loading, powers: Float64Array, from: number, to: number): Float64Array {
  if (lifts.size === 0) return powers;
  for (let v = from; v > to; v = feeder.parent[v]!) {
    const lift = lifts.get(v);
    if (lift) lifted(lift, powers);
  }
  return powers;
}
