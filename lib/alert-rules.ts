/** From a finding to the condition of an alert. Only proven findings raise or clear; what is not proven leaves every alert as it is. */

import type { Condition } from './alert-condition';
import { comparisonWords } from './alert-words';
import { digest } from './derived-id';
import type { Finding, Identification, Rejection, Rotation, Trace } from './records';

export const ALERT_CAUTION =
  'Evidence from readings, for qualified people to verify by local rules. It is no test for absence of voltage and gives no permission to switch.';

/** What a reference can be blamed for, by the reason codes of its watch. */
const REFERENCE_CODES: ReadonlySet<string> = new Set([
  'reference-not-synchronous',
  'reference-stepped',
  'reference-stale',
  'spot-readings-disagree',
  'frequencies-disagree',
]);

/** What an instrument can be blamed for, by the reason codes of the screen. */
const INSTRUMENT_CODES: ReadonlySet<string> = new Set(['self-test-failed', 'calibration-out-of-date']);

/** An instrument of which nothing bad was heard for so long is taken to have been mended or put away. */
const INSTRUMENT_QUIET_S = 3600;

/**
 * The conditions that follow from a finding or a rejection, possibly none.
 * @example conditionsOf({ kind: 'comparison', openPoint: 'P', verdict: 'not-proven', reasons: [] }) // []
 */
export function conditionsOf(record: Finding | Rejection): readonly Condition[] {
  switch (record.kind) {
    case 'comparison':
      return record.verdict === 'not-proven'
        ? []
        : [condition(record, 'tie-mismatch', record.openPoint, 'high', comparisonWords(record))];
    case 'identification':
      return ofIdentification(record);
    case 'rotation':
      return ofRotation(record);
    case 'trace':
      return [ofTrace(record)];
    case 'rejection':
      return ofRejection(record);
    default:
      return [];
  }
}

function ofIdentification(i: Identification): readonly Condition[] {
  const doubt = i.reasons.filter((r) => REFERENCE_CODES.has(r.code));
  if (i.reference !== null && doubt.length > 0) return [ofReference(i, i.reference, doubt)];
  if (i.verdict === 'not-proven') return [];
  return [...(i.reference === null ? [] : [ofReference(i, i.reference, [])]), ...ofRecord(i)];
}

function ofReference(i: Identification, reference: string, doubt: Identification['reasons']): Condition {
  const whys = [...new Set(doubt.map((r) => r.why))].join('; ');
  const words =
    doubt.length === 0
      ? { active: false, says: 'in use', text: `reference ${reference}: ${i.terminal} is proven against it again` }
      : { active: true, says: 'in doubt', text: `reference ${reference}: ${whys}. Findings against it are not proven` };
  return condition(i, 'reference-doubt', reference, 'medium', words);
}

function ofRecord(i: Identification): Condition[] {
  if (i.agreesWithRecord === null) return [];
  const active = !i.agreesWithRecord;
  const says = `recorded ${i.recordedPhase}, found ${i.phase}`;
  const against = i.reference === null ? '' : ` against ${i.reference}`;
  const why = `${i.verdict} with probability ${probability(i.probability)}${against}`;
  const text = active
    ? `${i.terminal}: recorded as ${i.recordedPhase}, found to be ${i.phase} (${why})`
    : `${i.terminal}: found as recorded, ${i.phase} (${why})`;
  return [condition(i, 'record-conflict', i.terminal, 'medium', { active, says, text })];
}

function ofRotation(r: Rotation): Condition[] {
  if (r.verdict !== 'decided' || r.agreesWithRecord === null) return [];
  const active = !r.agreesWithRecord;
  const says = `recorded ${r.recordedSequence}, found ${r.sequence}`;
  const where = `${r.terminals.join(', ')} in viewing order ${r.viewing}`;
  const text = active
    ? `${r.site}: turns ${r.sequence} (${r.turns}), recorded ${r.recordedSequence}: ${where}`
    : `${r.site}: turns as recorded, ${r.sequence}: ${where}`;
  return [condition(r, 'rotation-conflict', r.site, 'high', { active, says, text }, triple(r))];
}

/** One alert a feeder: a trace without contradictions ends it. */
function ofTrace(t: Trace): Condition {
  const active = t.conflicts.length > 0;
  const says = t.conflicts
    .map((c) => `${c.what} ${c.id}`)
    .sort()
    .join(', ');
  const text = active
    ? `feeder ${t.feeder}: ${t.conflicts.map((c) => c.why).join('; ')}`
    : `feeder ${t.feeder}: no loop or comparison contradicts the readings`;
  return condition(t, 'network-conflict', t.feeder, 'medium', { active, says: active ? says : 'consistent', text });
}

/** A site may have more than one set of three: the two sides of a switch must not clear each other's alerts. */
function triple({ site, terminals }: Rotation): string {
  const own = terminals.map((t) => (t.startsWith(`${site}/`) ? t.slice(site.length + 1) : t));
  return `${site}/${own.sort().join('+')}`;
}

function ofRejection(r: Rejection): Condition[] {
  const problems = r.stage === 'screen' ? r.problems.filter((p) => INSTRUMENT_CODES.has(p.code)) : [];
  if (problems.length === 0) return [];
  const instrument = instrumentIn(r.excerpt);
  const subject = instrument ?? r.terminal ?? r.source;
  const says = [...new Set(problems.map((p) => p.code))].sort().join(', ');
  const whats = [...new Set(problems.map((p) => p.what))];
  const text = `${instrument === undefined ? `${subject}: ${whats.join('; ')}` : ofOne(`instrument ${instrument}`, whats)}. Its readings are turned aside`;
  const words = { active: true, says, text };
  const endsAfterS = INSTRUMENT_QUIET_S;
  return [Object.freeze({ ...condition(r, 'instrument-doubt', subject, 'low', words), endsAfterS })];
}

/** Sentences about one thing, which is named once. */
function ofOne(name: string, sentences: readonly string[]): string {
  const begin = (sentence: string) => sentence.startsWith(`${name} `);
  if (!sentences.every(begin)) return `${name}: ${sentences.join('; ')}`;
  return name + sentences.map((sentence) => sentence.slice(name.length)).join(', and it');
}

/** The instrument of a reading that was turned aside, from what is kept of its text. */
function instrumentIn(excerpt: string): string | undefined {
  try {
    const { instrument } = JSON.parse(excerpt) as { instrument?: { id?: unknown } };
    return typeof instrument?.id === 'string' ? instrument.id : undefined;
  } catch {
    return undefined;
  }
}

const LONGEST_KEY = 200;

function condition(
  record: Finding | Rejection,
  category: Condition['category'],
  subject: string,
  priority: Condition['priority'],
  words: Pick<Condition, 'active' | 'says' | 'text'>,
  about = subject,
): Condition {
  const key = `${category}:${about}`;
  const frame = record.frame === undefined ? {} : { frame: record.frame };
  return Object.freeze({
    key: key.length <= LONGEST_KEY ? key : `${category}:${digest(about)}`,
    category,
    subject,
    priority,
    ...words,
    caution: ALERT_CAUTION,
    from: [record.id],
    evidenceAt: record.at,
    ...frame,
  });
}

/** Never 1: no reading proves that. */
const probability = (p: number): string => (p > 0.999 ? 'above 0.999' : p.toFixed(3));
