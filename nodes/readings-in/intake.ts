/** From what arrived to readings and a rejection. Pure, and it never throws: whatever comes, something is made of it. */
import { parseReading } from '../../lib/reading';
import type { Problem, Reading } from '../../lib/records';
import type { Arrival, Taken } from './arrival';
import { unfit } from './guard';
import { openJson } from './json-bytes';
import type { NearMatch } from './near-match';
import { refusal, terminalOf } from './refusal';

export interface IntakeRules {
  readonly maxBytes: number;
  readonly futureToleranceS: number;
  /** terminals that exist; left out: any */
  readonly terminals?: ReadonlyMap<string, unknown>;
  readonly nearMatch?: NearMatch;
}

/** Readings one message may hold. */
export const MAX_READINGS = 1000;

/** A payload too large is not even parsed. */
export function oversize(arrival: Arrival, rules: IntakeRules): Taken | undefined {
  if (arrival.bytes.length <= rules.maxBytes) return undefined;
  return refused(arrival, {
    at: '',
    code: 'payload-too-large',
    what: `the payload has ${arrival.bytes.length} bytes`,
    expected: `at most ${rules.maxBytes} bytes`,
  });
}

/** A message that holds one reading, or an array of them, as JSON. */
export function take(arrival: Arrival, rules: IntakeRules): Taken {
  const large = oversize(arrival, rules);
  if (large) return large;
  const opened = openJson(arrival.bytes);
  if (!opened.ok) return refused(arrival, opened.problem);
  return takeValue(arrival, opened.value, rules, opened.text);
}

/** A value that is, or was mapped to, one reading or an array of them. `text` is the JSON it was parsed from, if it was. */
export function takeValue(arrival: Arrival, value: unknown, rules: IntakeRules, text?: string): Taken {
  const flaw = unfit(value, text);
  if (flaw) return refused(arrival, flaw, terminalOf(value));
  if (!Array.isArray(value)) return takeOne(arrival, value, rules);
  if (value.length > MAX_READINGS) {
    const what = `the payload is an array of ${value.length}`;
    return refused(arrival, { at: '', code: 'too-many-readings', what, expected: `at most ${MAX_READINGS} readings` });
  }
  return takeSeveral(arrival, value, rules);
}

/** A rejection of the whole message for one problem. */
export function refused(arrival: Arrival, problem: Problem, terminal: string | null = null): Taken {
  return { readings: [], texts: [], rejection: refusal(arrival, [problem], terminal) };
}

function takeOne(arrival: Arrival, value: unknown, rules: IntakeRules): Taken {
  const parsed = parse(arrival, value, rules);
  if (parsed.ok) return { readings: [parsed.reading], texts: [parsed.json], rejection: undefined };
  return { readings: [], texts: [], rejection: refusal(arrival, parsed.problems, terminalOf(value)) };
}

function takeSeveral(arrival: Arrival, values: readonly unknown[], rules: IntakeRules): Taken {
  const readings: Reading[] = [];
  const texts: string[] = [];
  const problems: Problem[] = [];
  const faulty: unknown[] = [];
  values.forEach((value, i) => {
    const parsed = parse(arrival, value, rules);
    if (parsed.ok) {
      readings.push(parsed.reading);
      texts.push(parsed.json);
    } else {
      faulty.push(value);
      for (const p of parsed.problems) problems.push({ ...p, at: `/${i}${p.at}` });
    }
  });
  const terminal = faulty.length === 1 ? terminalOf(faulty[0]) : null;
  return { readings, texts, rejection: problems.length > 0 ? refusal(arrival, problems, terminal) : undefined };
}

type Parsed = ReturnType<typeof parseReading>;

function parse(arrival: Arrival, value: unknown, rules: IntakeRules): Parsed {
  try {
    const { receivedAtUs } = arrival;
    const { futureToleranceS, terminals } = rules;
    const parsed = parseReading(value, { receivedAtUs, futureToleranceS, ...(terminals ? { terminals } : {}) });
    return parsed.ok ? parsed : { ok: false, problems: parsed.problems.map((p) => withHint(p, value, rules)) };
  } catch (cause) {
    const what = `could not be read: ${(cause as Error).message}`.slice(0, 1000);
    return { ok: false, problems: [{ at: '', code: 'payload-unreadable', what, expected: 'a reading' }] };
  }
}

function withHint(problem: Problem, value: unknown, rules: IntakeRules): Problem {
  const terminal = problem.code === 'terminal-unknown' ? terminalOf(value) : null;
  const near = terminal === null ? undefined : rules.nearMatch?.to(terminal);
  return near === undefined
    ? problem
    : { ...problem, expected: `${problem.expected}; did you mean ${JSON.stringify(near)}?` };
}
