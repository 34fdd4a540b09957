/** Short lines of what the ledger has just taken in, for people who watch the terminal. */
import type {
  Alert,
  Comparison,
  Identification,
  PhaseloomRecord,
  Plan,
  Rejection,
  Rotation,
  Trace,
} from '../../lib/records';

/** A line worth printing, or undefined for what goes as it should. */
export function lineOf(record: PhaseloomRecord): string | undefined {
  if (record.kind === 'alert') return alertLine(record);
  if (record.kind === 'comparison') return comparisonLine(record);
  if (record.kind === 'identification') return identificationLine(record);
  if (record.kind === 'rotation') return rotationLine(record);
  if (record.kind === 'rejection') return rejectionLine(record);
  if (record.kind === 'trace') return traceLine(record);
  if (record.kind === 'plan') return planLine(record);
  return undefined;
}

const line = (what: string, text: string) => `  ${what.padEnd(9)} ${short(text)}`;

const alertLine = (a: Alert) => line('ALERT', `${a.priority}, ${words(a.transition)}: ${a.text}`);

function comparisonLine(c: Comparison): string {
  const how = c.landing ? ` (landed ${c.landing})` : `; ${c.reasons[0]?.why}`;
  return line('tie', `${c.openPoint}: ${words(c.verdict)}${how}`);
}

function identificationLine(i: Identification): string | undefined {
  if (i.agreesWithRecord === false)
    return line('phase', `${i.terminal}: found ${i.phase}, recorded ${i.recordedPhase}`);
  return i.verdict === 'not-proven' ? line('phase', `${i.terminal}: not proven; ${i.reasons[0]?.why}`) : undefined;
}

function rotationLine(r: Rotation): string | undefined {
  if (r.agreesWithRecord !== false) return undefined;
  return line('rotation', `${r.site}: turns ${r.sequence}, recorded ${r.recordedSequence}`);
}

function rejectionLine(r: Rejection): string {
  const { what, expected } = r.problems[0]!;
  return line('rejected', `${r.terminal ?? r.source}, ${words(r.stage)}: ${what}; right would be: ${expected}`);
}

/** What the trace offers, else what it suspects; where to read next only while something is suspected and not settled. */
function traceLine({ feeder, corrections, suspects, suggestions }: Trace): string | undefined {
  const [offered] = corrections;
  if (offered) {
    const { section, change, probability } = offered.cause;
    const labels = offered.labels.map((l) => l.section).join(', ');
    return line(
      'trace',
      `${feeder}: crossing at ${section}, ${change} (${percent(probability)}); labels to correct: ${labels}`,
    );
  }
  const [suspect] = suspects;
  if (!suspect) return undefined;
  const where = suspect.sections.map((s) => s.section).join(' or ');
  const next = suggestions[0] ? `; a reading at ${suggestions[0].terminals.join(', ')} tells most` : '';
  return line('trace', `${feeder}: crossing suspected at ${where} (${percent(suspect.mass)})${next}`);
}

function planLine({ feeder, before, after, aim, moves }: Plan): string {
  const told = moves.map((m) => `${m.id} ${m.from.join(' ')} to ${m.to.join(' ')}`).join(', ');
  return line(
    'plan',
    `${feeder}: unbalance ${before.toFixed(1)}, then ${after.toFixed(1)} ${aim.unit}, by ${told || 'no move'}`,
  );
}

const percent = (p: number): string => `${Math.round(100 * p)} %`;

export const words = (code: string): string => code.replaceAll('-', ' ');

/** Every place of the demo lies in Quillmere. */
export const short = (text: string): string => text.replaceAll('quillmere/', '');

/** Tells each line once: every new reading of a visit says again what the one before said. */
export class Narrator {
  private readonly told = new Map<string, string>();

  constructor(private readonly say: (line: string) => void) {}

  hear(records: readonly PhaseloomRecord[]): void {
    for (const record of records) {
      const text = lineOf(record);
      const subject = text?.split(':')[0] ?? '';
      if (text === undefined || this.told.get(subject) === text) continue;
      this.told.set(subject, text);
      this.say(text);
    }
  }
}
