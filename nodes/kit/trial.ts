/** What readings would lead to with settings that need not be deployed: nothing is stored, sent or remembered. */
import type { Frame } from '../../lib/frame';
import type { Network } from '../../lib/network';
import { parseReading, takenAtUs } from '../../lib/reading';
import { setAt } from '../../lib/reading-sets';
import { ReadingWindow } from '../../lib/reading-window';
import type { Judgement as Finding, Reading } from '../../lib/records';
import type { Group, Rules } from './finding-flow';
import { ReferenceStreams } from './reference-streams';
import { Trouble } from './trouble';

/** Readings a trial takes at most: it is for looking at a few by hand. */
const MOST_READINGS = 200;

export interface Trial {
  /** the newest of each subject */
  readonly findings: readonly Finding[];
  /** groups of terminals that lead to nothing yet, and what was not read of them */
  readonly waiting: readonly { readonly group: string; readonly terminals: readonly string[] }[];
}

/**
 * Readings from a text: one, an array of them, or one a line.
 * @throws Trouble 'reading' that says which reading is wrong, where in it, and what would be right
 */
export function readingsIn(text: string, network: Network | undefined): readonly Reading[] {
  const values = valuesIn(text);
  if (values.length > MOST_READINGS) {
    throw new Trouble('reading', `${values.length} readings are given; a trial takes at most ${MOST_READINGS}`);
  }
  const problems: string[] = [];
  const readings: Reading[] = [];
  values.forEach((value, i) => {
    const parsed = parseReading(value, network ? { terminals: network.terminals } : {});
    if (parsed.ok) readings.push(parsed.reading);
    else {
      for (const { at, what, expected } of parsed.problems)
        problems.push(`reading ${i + 1}${at ? `, ${at}` : ''}: ${what}; expected ${expected}`);
    }
  });
  if (problems.length > 0) throw new Trouble('reading', problems.join('\n'));
  return readings;
}

function valuesIn(text: string): unknown[] {
  if (text.trim() === '') throw new Trouble('reading', 'there is no reading; expected a reading as JSON, or several');
  try {
    const value = JSON.parse(text);
    return Array.isArray(value) ? value : [value];
  } catch (whole) {
    const lines = text.split('\n').filter((line) => line.trim() !== '');
    if (lines.length === 1 || !lines.every((line) => line.trim().endsWith('}'))) throw notJson(whole);
    return lines.map((line, i) => {
      try {
        return JSON.parse(line);
      } catch (cause) {
        throw notJson(cause, `line ${i + 1}: `);
      }
    });
  }
}

const notJson = (cause: unknown, where = '') =>
  new Trouble(
    'reading',
    `${where}not JSON: ${(cause as Error).message}; expected a reading, an array of readings, or one reading a line`,
  );

export function tried<G extends Group>(frame: Frame, rules: Rules<G>, readings: readonly Reading[]): Trial {
  const streams = new ReferenceStreams(frame, undefined, 0);
  const window = new ReadingWindow();
  const inTime = [...readings].sort((a, b) => takenAtUs(a) - takenAtUs(b));
  for (const reading of inTime) {
    if (streams.isStream(reading.terminal)) streams.hear(reading);
    else window.add(reading);
  }
  const findings = new Map<string, Finding>();
  const waiting = new Map<string, readonly string[]>();
  for (const reading of inTime) {
    for (const group of streams.isStream(reading.terminal) ? [] : rules.groupsOf(reading.terminal)) {
      const set = setAt(window, group, takenAtUs(reading));
      const rests = rules.restsOn(group, set, reading, window).some((r) => r.id === reading.id);
      const found = rests ? rules.conclude(group, set, reading, window, streams.align) : [];
      for (const finding of found) findings.set(subjectOf(finding), finding);
      if (found.length > 0) waiting.delete(group.id);
      else waiting.set(group.id, unread(group, set.conductors));
    }
  }
  return {
    findings: [...findings.values()],
    waiting: [...waiting].map(([group, terminals]) => ({ group, terminals })),
  };
}

const unread = (group: Group, read: readonly { readonly terminal: string }[]): string[] =>
  group.terminals.filter((terminal) => !read.some((conductor) => conductor.terminal === terminal));

const subjectOf = (finding: Finding): string => {
  if (finding.kind === 'identification') return finding.terminal;
  return finding.kind === 'rotation' ? finding.site : finding.openPoint;
};
