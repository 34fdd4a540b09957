/** How an instrument sees a conductor: with noise, with the error of its own clock, and with what it knows of both. */

import { wrap180 } from '../../lib/angle';
import { formatInstant } from '../../lib/instant';
import type { Coupling } from '../../lib/records';
import { frequencyHz, gridAngleDeg, NOMINAL_HZ } from './grid';
import { type Place, positionOf, REFERENCE, terminalOf, voltageOf } from './places';
import type { Chance } from './random';

export interface Instrument {
  readonly id: string;
  /** what its clock is really wrong by, microseconds; a late stamp makes an angle against UTC too large */
  readonly clockOffUs: number;
  /** what it says of its clock */
  readonly clock: Readonly<Record<string, unknown>>;
  /** standard deviation of its angles, degrees; it states the same */
  readonly sigmaDeg: number;
  readonly selfTest: 'pass' | 'fail';
  readonly batteryPct: number;
}

export interface Taking {
  readonly against: 'utc' | 'reference';
  readonly coupling: Coupling;
  readonly by: string;
  readonly job: string;
}

const locked = (errorUs: number) => ({ source: 'gnss', errorUs, locked: true });
const sound = { selfTest: 'pass', sigmaDeg: 0.6, batteryPct: 84 } as const;
/** A third of a cycle: enough to make each phase look like the next one. */
const THIRD_OF_A_CYCLE_US = 1e6 / NOMINAL_HZ / 3;

export const INSTRUMENTS = {
  reference: { ...sound, id: 'QR-1', clockOffUs: 0.2, clock: locked(0.5), sigmaDeg: 0.05 },
  first: { ...sound, id: 'P-03', clockOffUs: -0.8, clock: locked(1.2) },
  second: { ...sound, id: 'P-06', clockOffUs: 1.5, clock: locked(2), batteryPct: 61 },
  lostClock: {
    ...sound,
    id: 'P-09',
    clockOffUs: THIRD_OF_A_CYCLE_US + 20,
    clock: { source: 'gnss', locked: false },
  },
  failing: { ...sound, id: 'P-11', clockOffUs: 0.5, clock: locked(1.2), selfTest: 'fail' },
} as const satisfies Record<string, Instrument>;

/** One reading as it goes over the wire. */
export type Wire = Record<string, unknown>;

/** Reads one conductor of a place at an instant. */
export function measure(
  place: Place,
  conductor: number,
  instrument: Instrument,
  taking: Taking,
  atUs: number,
  chance: Chance,
): Wire {
  const there = voltageOf(place, conductor);
  const clockDeg = 360 * NOMINAL_HZ * instrument.clockOffUs * 1e-6;
  const seenDeg = there.angleDeg + instrument.sigmaDeg * chance.normal();
  const angleDeg =
    taking.against === 'utc'
      ? gridAngleDeg(atUs) + seenDeg + clockDeg
      : seenDeg - voltageOf(REFERENCE.place, 0).angleDeg - INSTRUMENTS.reference.sigmaDeg * chance.normal();
  const voltageV = (place.nominalV / Math.sqrt(3)) * there.pu * (1 + 0.005 * chance.normal());
  return {
    kind: 'reading',
    terminal: place === REFERENCE.place ? REFERENCE.terminal : terminalOf(place, conductor),
    takenAt: formatInstant(Math.round(atUs)),
    angleDeg: rounded(wrap180(angleDeg), 2),
    against: taking.against === 'utc' ? 'utc' : REFERENCE.id,
    sigmaDeg: instrument.sigmaDeg,
    voltageV: rounded(voltageV, place.nominalV > 1000 ? 0 : 1),
    voltageIs: place.nominalV > 1000 ? 'phase-to-earth' : 'phase-to-neutral',
    frequencyHz: rounded(frequencyHz(atUs) + 0.001 * chance.normal(), 3),
    clock: instrument.clock,
    coupling: taking.coupling,
    instrument: { id: instrument.id, selfTest: instrument.selfTest, batteryPct: instrument.batteryPct },
    by: taking.by,
    job: taking.job,
    ...(place === REFERENCE.place ? {} : { position: positionOf(place) }),
  };
}

const rounded = (x: number, digits: number): number => Number(x.toFixed(digits));
