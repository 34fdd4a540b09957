/** A reading held against a reference station's own stream at the same instant. */
import { difference, wrap180 } from './angle';
import type { Frame } from './frame';
import { takenAtUs } from './reading';
import type { Reading, Reason } from './records';
import type { RelativeReading } from './sample';
import { angleErrorDeg, clockErrorUs } from './timing';

export interface AlignOptions {
  readonly nominalHz?: number;
  /** how far a single reference reading is carried by its frequency, seconds */
  readonly maxAgeS?: number;
  /** longest gap between two reference readings that is interpolated, seconds */
  readonly maxGapS?: number;
  /** standard uncertainty of readings that do not state their own, degrees */
  readonly readingSdDeg?: number;
  /** id of the reference; the terminal of its readings when left out */
  readonly reference?: string;
}

export interface Aligned extends RelativeReading {
  readonly aligned: true;
  readonly commonSdDeg: number;
  /** angle of the reference at the instant of the reading, degrees against UTC */
  readonly referenceDeg: number;
  readonly method: 'interpolated' | 'carried';
  /** between the two reference readings, or from the one that was carried to the reading */
  readonly spanS: number;
  readonly from: readonly string[];
}

export interface NotAligned {
  readonly aligned: false;
  readonly reasons: readonly Reason[];
}

/** Frequencies of field and reference that differ by more do not belong to one synchronous network, Hz. */
const SAME_FREQUENCY_HZ = 0.01;
/** Frequency deviation from nominal that must be reckoned with where none was measured, Hz. */
const UNMEASURED_DEVIATION_HZ = 0.2;
/** Rate of change of frequency allowed for between readings, Hz/s. */
const ROCOF_HZ_S = 0.05;
/** Standard uncertainty of a measured frequency: the steady-state limit of IEC/IEEE 60255-118-1, Hz. */
const FREQUENCY_SD_HZ = 0.005;

/** The settings of a frame that alignment uses. */
export const alignOptions = (frame: Frame): AlignOptions => ({
  nominalHz: frame.nominalHz,
  maxAgeS: frame.referenceMaxAgeS,
  maxGapS: frame.referenceMaxGapS,
  readingSdDeg: frame.readingSdDeg,
});

/**
 * Angle of a reading taken against UTC relative to a reference: the reference's unwrapped angle interpolated between the two readings
 * that bracket the instant, else the nearest carried by its measured frequency, else not aligned with the reason.
 * Interpolation errs by 360 rocof gap^2 / 8 degrees at most, carrying by 360 (sd(f) age + rocof age^2 / 2).
 * @param referenceReadings the station's readings around the instant, in any order
 */
export function alignToReference(
  reading: Reading,
  referenceReadings: readonly Reading[],
  options: AlignOptions = {},
): Aligned | NotAligned {
  if (reading.angleDeg === undefined || reading.against !== 'utc') {
    return refuse(
      'reading-not-utc',
      `the reading is ${reading.angleDeg === undefined ? 'without an angle' : `against ${reading.against ?? 'nothing stated'}`}, not against UTC`,
      'read the angle against UTC',
    );
  }
  const stream = referenceReadings.filter((r) => r.angleDeg !== undefined && r.against === 'utc');
  if (stream.length === 0)
    return refuse(
      'reference-missing',
      'there is no reading of the reference around this instant',
      'read again while the reference station reports',
    );
  const timed = stream.filter((r) => clockErrorUs(r.clock) !== null);
  if (timed.length === 0)
    return refuse(
      'reference-clock-unknown',
      'the reference does not state how good its time is',
      'restore the time source of the reference',
    );
  return place(reading, timed, {
    nominalHz: 60,
    maxAgeS: 2,
    maxGapS: 5,
    readingSdDeg: 2,
    reference: timed[0]!.terminal,
    ...options,
  });
}

type Settings = Required<AlignOptions>;

function place(reading: Reading, stream: readonly Reading[], settings: Settings): Aligned | NotAligned {
  const at = takenAtUs(reading);
  const before = nearest(stream, at, (t) => t <= at);
  const after = nearest(stream, at, (t) => t >= at);
  const gapS = before && after ? (takenAtUs(after) - takenAtUs(before)) * 1e-6 : Number.POSITIVE_INFINITY;
  if (before && after && gapS <= settings.maxGapS) return interpolate(reading, before, after, gapS, settings);
  const closest = [before, after]
    .filter((r) => r !== undefined)
    .sort((a, b) => Math.abs(takenAtUs(a) - at) - Math.abs(takenAtUs(b) - at))[0]!;
  return carry(reading, closest, settings);
}

function nearest(stream: readonly Reading[], at: number, side: (t: number) => boolean): Reading | undefined {
  let best: Reading | undefined;
  for (const r of stream) {
    const t = takenAtUs(r);
    if (side(t) && (!best || Math.abs(t - at) < Math.abs(takenAtUs(best) - at))) best = r;
  }
  return best;
}

function interpolate(
  reading: Reading,
  before: Reading,
  after: Reading,
  gapS: number,
  settings: Settings,
): Aligned | NotAligned {
  const hz = meanHz([before, after]);
  const apart = frequenciesApart(reading, hz);
  if (apart) return apart;
  const turn = turnOver(before, after, gapS, hz, settings.nominalHz);
  if (turn === undefined) {
    return refuse(
      'reference-gap',
      `the reference may have turned by more than half a turn in the ${gapS.toFixed(2)} s between its readings`,
      'let the reference report more often, or with its frequency',
    );
  }
  const share = gapS === 0 ? 0 : (takenAtUs(reading) - takenAtUs(before)) / (takenAtUs(after) - takenAtUs(before));
  const errorDeg = (360 * ROCOF_HZ_S * gapS ** 2) / 8;
  const referenceDeg = wrap180(before.angleDeg! + turn * share);
  return aligned(
    reading,
    gapS === 0 ? [before] : [before, after],
    referenceDeg,
    'interpolated',
    gapS,
    errorDeg,
    settings,
  );
}

/** How far the reference turned between two of its readings; undefined when that cannot be told from whole turns more or less. */
function turnOver(
  before: Reading,
  after: Reading,
  gapS: number,
  hz: number | undefined,
  nominalHz: number,
): number | undefined {
  const shortest = difference(after.angleDeg!, before.angleDeg!);
  if (hz === undefined) return 360 * UNMEASURED_DEVIATION_HZ * gapS < 180 ? shortest : undefined;
  const foreseen = 360 * (hz - nominalHz) * gapS;
  const turn = shortest + 360 * Math.round((foreseen - shortest) / 360);
  return Math.abs(turn - foreseen) <= 90 ? turn : undefined;
}

function carry(reading: Reading, closest: Reading, settings: Settings): Aligned | NotAligned {
  const spanS = (takenAtUs(reading) - takenAtUs(closest)) * 1e-6;
  const ageS = Math.abs(spanS);
  if (ageS > settings.maxAgeS) {
    return refuse(
      'reference-too-old',
      `the nearest reading of the reference is ${ageS.toFixed(2)} s away; ${settings.maxAgeS} s are allowed`,
      'read again while the reference station reports',
    );
  }
  const hz = closest.frequencyHz ?? reading.frequencyHz;
  if (hz === undefined)
    return refuse(
      'frequency-unknown',
      'neither the reading nor the reference states the frequency by which to carry the angle',
      'report the frequency',
    );
  const apart = frequenciesApart(reading, closest.frequencyHz);
  if (apart) return apart;
  const referenceDeg = wrap180(closest.angleDeg! + 360 * (hz - settings.nominalHz) * spanS);
  const errorDeg = 360 * (FREQUENCY_SD_HZ * ageS + (ROCOF_HZ_S * ageS ** 2) / 2);
  return aligned(reading, [closest], referenceDeg, 'carried', ageS, errorDeg, settings);
}

function frequenciesApart(reading: Reading, referenceHz: number | undefined): NotAligned | undefined {
  const apartHz = Math.abs((reading.frequencyHz ?? referenceHz ?? 0) - (referenceHz ?? reading.frequencyHz ?? 0));
  if (apartHz <= SAME_FREQUENCY_HZ) return undefined;
  const why = `the reading shows ${reading.frequencyHz} Hz and the reference ${referenceHz!.toFixed(3)} Hz: they are not on one synchronous network`;
  return refuse(
    'frequencies-disagree',
    why,
    'check that the reference is not islanded or on a backup supply, then read again',
  );
}

function meanHz(readings: readonly Reading[]): number | undefined {
  const known = readings.map((r) => r.frequencyHz).filter((hz) => hz !== undefined);
  return known.length === 0 ? undefined : known.reduce((a, b) => a + b, 0) / known.length;
}

function aligned(
  reading: Reading,
  used: readonly Reading[],
  referenceDeg: number,
  method: Aligned['method'],
  spanS: number,
  errorDeg: number,
  settings: Settings,
): Aligned {
  const referenceSd = Math.max(...used.map((r) => r.sigmaDeg ?? settings.readingSdDeg));
  const clockSd = angleErrorDeg(Math.max(...used.map((r) => clockErrorUs(r.clock)!)), settings.nominalHz);
  return Object.freeze({
    aligned: true,
    reading,
    reference: settings.reference,
    relativeDeg: difference(reading.angleDeg!, referenceDeg),
    referenceDeg,
    method,
    spanS,
    sdDeg: reading.sigmaDeg ?? settings.readingSdDeg,
    commonSdDeg: Math.hypot(referenceSd, clockSd, errorDeg),
    from: Object.freeze(used.map((r) => r.id)),
  });
}

function refuse(code: string, why: string, settle: string): NotAligned {
  return Object.freeze({ aligned: false, reasons: Object.freeze([Object.freeze({ code, why, settle })]) });
}
