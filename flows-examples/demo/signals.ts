/** What two fixed recorders of the demo see: the voltages of a site as a wave, and as synchrophasors. The truth is that of the crews' readings. */
import { frequencyHz, gridAngleDeg, NOMINAL_HZ } from './grid';
import { type Place, placeOf, terminalOf, voltageOf } from './places';

/** Sends windows of samples with a time pulse. */
export const SAMPLER = { id: 'W-04', place: placeOf.get('quillmere/F3/S104')! };
/** Sends synchrophasors. */
export const STATION = { id: 'pmu-101', idCode: 101, name: 'S101', place: placeOf.get('quillmere/F3/S101')! };
export const CHANNELS = ['VA', 'VB', 'VC'] as const;

/** Terminals whose readings come from signals, with the instrument that they come from. */
export const SIGNAL_TERMINALS = [SAMPLER, STATION].flatMap(({ id, place }) =>
  place.phases.map((_, conductor) => ({ terminal: terminalOf(place, conductor), instrument: id, place, conductor })),
);

/** Angle against UTC, degrees, not wrapped. */
export const trueAngleDeg = (place: Place, conductor: number, us: number): number =>
  gridAngleDeg(us) + voltageOf(place, conductor).angleDeg;

/** Root mean square, volts. */
export const trueVoltageV = (place: Place, conductor: number): number =>
  (place.nominalV / Math.sqrt(3)) * voltageOf(place, conductor).pu;

export { frequencyHz, NOMINAL_HZ };
