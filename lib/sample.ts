/** An angle to be judged: a reading as taken, or one that was held against a reference at the same instant. */
import type { Frame } from './frame';
import type { Reading } from './records';

export interface RelativeReading {
  readonly reading: Reading;
  /** id of the reference */
  readonly reference: string;
  /** reading minus reference at the same instant, degrees, in the sense of the instruments */
  readonly relativeDeg: number;
  /** standard uncertainty of `relativeDeg` that is this reading's own, degrees */
  readonly sdDeg: number;
  /** standard uncertainty that other readings of the visit share, degrees, the field clock left out; 0 when left out */
  readonly commonSdDeg?: number;
  /** ids of the reference's readings that were used */
  readonly from?: readonly string[];
}

export type Sample = Reading | RelativeReading;

/** What was read at one terminal. */
export interface ConductorReadings {
  readonly terminal: string;
  readonly readings: readonly Sample[];
}

/** What was read at the terminals of a site or of one side: by terminal, or as plain readings of any number of terminals. */
export type ReadAt = ConductorReadings | Sample;

/**
 * Plain readings gathered by terminal, in the order in which the terminals first come; what is gathered already stays as it is.
 * @example gathered([{ terminal: 'b' }, { terminal: 'a' }, { terminal: 'b' }]).map((c) => c.terminal) // ['b', 'a']
 */
export function gathered(given: readonly ReadAt[]): readonly ConductorReadings[] {
  if (given.every(isGathered)) return given;
  const conductors: { terminal: string; readings: Sample[] }[] = [];
  const plain = new Map<string, Sample[]>();
  for (const one of given) {
    if (isGathered(one)) {
      conductors.push({ terminal: one.terminal, readings: [...one.readings] });
      continue;
    }
    const { terminal } = readingOf(one);
    const known = plain.get(terminal);
    if (known) {
      known.push(one);
      continue;
    }
    const readings = [one];
    plain.set(terminal, readings);
    conductors.push({ terminal, readings });
  }
  return conductors;
}

const isGathered = (given: ReadAt): given is ConductorReadings => 'readings' in given;

/** A sample with its parts laid out; `against` is 'utc', a reference id, or undefined when the reading does not say. */
export interface AngleSample {
  readonly reading: Reading;
  readonly against: string | undefined;
  readonly angleDeg: number;
  readonly sdDeg: number;
  readonly commonSdDeg: number;
  readonly from: readonly string[];
}

export const isRelative = (sample: Sample): sample is RelativeReading => 'relativeDeg' in sample;

export const readingOf = (sample: Sample): Reading => (isRelative(sample) ? sample.reading : sample);

/** The angle of a sample, or undefined when the reading has none. */
export function angleSample(sample: Sample, frame: Frame): AngleSample | undefined {
  if (isRelative(sample)) {
    const { reading, reference, relativeDeg, sdDeg, commonSdDeg = 0, from = [] } = sample;
    return { reading, against: reference, angleDeg: relativeDeg, sdDeg, commonSdDeg, from };
  }
  if (sample.angleDeg === undefined) return undefined;
  return {
    reading: sample,
    against: sample.against,
    angleDeg: sample.angleDeg,
    sdDeg: sample.sigmaDeg ?? frame.readingSdDeg,
    commonSdDeg: 0,
    from: [],
  };
}
