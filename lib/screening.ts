/** The screen: fitness, what else was noticed about a reading, and the record of one that is turned aside. */
import { derivedId } from './derived-id';
import { type Fitness, type FitnessSettings, fitness } from './fitness';
import { InstrumentSequences } from './instrument-sequence';
import type { Arrived } from './reading-window';
import type { Problem, Reading, Reason, Rejection } from './records';

export interface Screened extends Fitness {
  /** what is worth knowing and not held against the reading */
  readonly notices: readonly Reason[];
}

export interface ScreenRule {
  /** readings of a lower grade are turned aside */
  readonly leastGrade: 'usable' | 'good';
}

/** Screens readings in the order in which they come. */
export class Screen {
  private readonly sequences = new InstrumentSequences();

  /** @param arrived whether the same measurement came before under another id */
  judge(reading: Reading, settings: FitnessSettings, arrived: Arrived): Screened {
    const fit = fitness(reading, settings);
    const gap = arrived === 'new' || arrived === 'fetched' ? this.sequences.notice(reading) : undefined;
    const notices = gap ? [gap] : NO_NOTICES;
    return Object.freeze(arrived === 'duplicate' ? { ...refused(fit), notices } : { ...fit, notices });
  }
}

const NO_NOTICES: readonly Reason[] = Object.freeze([]);
const NO_USES = Object.freeze({ absolutePhase: false, relative: false, magnitude: false });
const DUPLICATE: Reason = Object.freeze({
  code: 'duplicate',
  why: 'the same angle and voltage of the same instrument, terminal and instant came before in another message',
  settle: 'nothing needs to be done; the first one counts',
});

const refused = (fit: Fitness): Fitness => ({
  ...fit,
  grade: 'refused',
  uses: NO_USES,
  reasons: [DUPLICATE, ...fit.reasons],
});

const RANK = { refused: 0, usable: 1, good: 2 } as const;

export const passes = ({ grade }: Fitness, { leastGrade }: ScreenRule): boolean => RANK[grade] >= RANK[leastGrade];

/** Which part of the reading a reason speaks of. */
const PLACE: Readonly<Record<string, string>> = {
  'self-test-failed': '/instrument/selfTest',
  'battery-low': '/instrument/batteryPct',
  'calibration-unknown': '/instrument/calibratedOn',
  'calibration-out-of-date': '/instrument/calibratedOn',
  'stamp-in-future': '/takenAt',
  stale: '/takenAt',
  'angle-without-against': '/against',
  'time-quality-unknown': '/clock',
  'time-out-of-budget': '/clock/errorUs',
  'magnitude-unusable': '/coupling',
  'no-voltage-read': '/voltageV',
  'voltage-implausible': '/voltageV',
};

const EXCERPT_LENGTH = 4096;

/**
 * The record of a reading that was turned aside. Its id rests on the reading and on what was held against it.
 * @param source topic or door it came through
 */
export function turnedAside(reading: Reading, { reasons }: Fitness, source: string): Rejection {
  const problems: Problem[] = reasons.map(({ code, why, settle }) => ({
    at: PLACE[code] ?? '',
    code,
    what: why,
    expected: settle ?? '',
  }));
  const said = {
    kind: 'rejection' as const,
    stage: 'screen' as const,
    from: [reading.id],
    codes: problems.map((p) => p.code),
  };
  const text = JSON.stringify(reading);
  return Object.freeze({
    kind: said.kind,
    id: derivedId('rejection', said),
    at: reading.takenAt,
    from: said.from,
    source,
    terminal: reading.terminal,
    stage: said.stage,
    problems,
    bytes: new TextEncoder().encode(text).length,
    excerpt: text.slice(0, EXCERPT_LENGTH),
  });
}
