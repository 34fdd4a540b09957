/**
 * What was known of a group of terminals at an instant: for each terminal its last reading until then, with those taken shortly before
 * it. A set depends on when readings were taken, not on when they came, so the same readings make the same sets in whatever order.
 */
import type { Placed, ReadingWindow } from './reading-window';
import type { Reading } from './records';

export interface SetRule {
  /** in the order in which the conductors of the set shall stand */
  readonly terminals: readonly string[];
  /** terminals that are no part of the set, but whose readings change what is made of it */
  readonly beside?: readonly string[];
  /** how long before the instant a terminal may have been read, seconds */
  readonly windowS: number;
  /** readings of one terminal taken within this time are judged together, seconds */
  readonly combineS: number;
}

export interface RawConductor {
  readonly terminal: string;
  /** oldest first */
  readonly readings: readonly Reading[];
}

export interface ReadingSet {
  readonly atUs: number;
  /** terminals that have readings, in the order of the rule */
  readonly conductors: readonly RawConductor[];
  /** every terminal of the rule has an angle */
  readonly complete: boolean;
}

/** More readings of one conductor than this add nothing: what they share does not fall with their number. */
const MOST_COMBINED = 16;

/** How far back in time a set may reach, microseconds. */
export const reachUs = (rule: SetRule): number => rule.windowS * 1e6;

/** The set as it stood at an instant. */
export function setAt(window: ReadingWindow, rule: SetRule, atUs: number): ReadingSet {
  const conductors: RawConductor[] = [];
  let angles = 0;
  for (const terminal of rule.terminals) {
    const readings = lastRead(window, terminal, rule, atUs);
    if (readings.length === 0) continue;
    conductors.push({ terminal, readings });
    if (readings.some((r) => r.angleDeg !== undefined)) angles++;
  }
  return { atUs, conductors, complete: angles === rule.terminals.length };
}

/**
 * The last angle of a terminal, what was read shortly before it against the same thing, and voltages read since: oldest first.
 * Without any angle, the voltages.
 */
function lastRead(window: ReadingWindow, terminal: string, rule: SetRule, atUs: number): Reading[] {
  return combinedOf(window.between(terminal, atUs - reachUs(rule), atUs), rule, atUs).slice(-MOST_COMBINED);
}

function combinedOf(known: readonly Placed[], rule: SetRule, atUs: number): Reading[] {
  const last = lastAngle(known);
  const centreUs = last?.us ?? atUs;
  const combined: Reading[] = [];
  for (const { reading, us } of known) {
    const isNear = Math.abs(us - centreUs) <= rule.combineS * 1e6;
    const belongs = reading.angleDeg === undefined || (last !== undefined && reading.against === last.reading.against);
    if (isNear && belongs) combined.push(reading);
  }
  return combined;
}

const lastAngle = (known: readonly Placed[]) => known.findLast((p) => p.reading.angleDeg !== undefined);

/**
 * Whether all that a reading leads to can be told from what the window holds, though the window does not reach back as far as the rule
 * looks: nothing of the group was taken after the reading, and of each terminal either all is there that would be judged together with
 * its last angle, or as many as are ever judged together. The reading need not have been added yet.
 */
export function isTold(window: ReadingWindow, rule: SetRule, reading: Reading, atUs: number): boolean {
  const beside = rule.beside ?? [];
  if (beside.some((t) => window.newestUs(t) > atUs || window.completeFromUs(t) > atUs - reachUs(rule))) return false;
  return rule.terminals.every((t) => window.newestUs(t) <= atUs && isTerminalTold(window, t, rule, reading, atUs));
}

function isTerminalTold(
  window: ReadingWindow,
  terminal: string,
  rule: SetRule,
  reading: Reading,
  atUs: number,
): boolean {
  const isOwn = terminal === reading.terminal;
  const fromUs = window.completeFromUs(terminal, isOwn);
  const oldestUs = atUs - reachUs(rule);
  if (fromUs <= oldestUs) return true;
  const known = window.between(terminal, fromUs, atUs);
  const all = isOwn && !known.some((p) => p.reading.id === reading.id) ? [...known, { reading, us: atUs }] : known;
  const last = lastAngle(all);
  if (!last) return false;
  return fromUs <= last.us - rule.combineS * 1e6 || combinedOf(all, rule, atUs).length >= MOST_COMBINED;
}

/**
 * The instants at which a set may stand differently now that a reading is known: its own, and those of later readings of the group.
 * Ascending; which of the sets really hold the reading is for the caller to see.
 * @param ofThoseThatCame leaves out readings known only from a store: when they come, their sets are made with this one in them
 */
export function instantsTouched(
  window: ReadingWindow,
  rule: SetRule,
  takenUs: number,
  ofThoseThatCame = false,
): number[] {
  const read = rule.beside ? [...rule.terminals, ...rule.beside] : rule.terminals;
  if (read.every((terminal) => window.newestUs(terminal) <= takenUs)) return [takenUs];
  const instants = new Set([takenUs]);
  for (const terminal of read) {
    for (const { us, came } of window.between(terminal, takenUs, takenUs + reachUs(rule))) {
      if (came || !ofThoseThatCame) instants.add(us);
    }
  }
  const ascending = [...instants].sort((a, b) => a - b);
  return ascending.length <= MOST_INSTANTS ? ascending : [takenUs, ...ascending.slice(1 - MOST_INSTANTS)];
}

/** A reading that comes late makes at most this many sets anew: its own and the newest, of which the last is what holds now. */
const MOST_INSTANTS = 64;
