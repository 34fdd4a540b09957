/** What a record is about: the word by which people ask for it, and the thing of which only the newest finding holds. */
import type { Finding, PhaseloomRecord } from '../../lib/records';

const NAMES = ['subject', 'openPoint', 'terminal', 'site', 'feeder'] as const;

/** Terminal, site, open point or whatever else a record is filed under; empty when it names none. */
export function subjectOf(record: PhaseloomRecord): string {
  const named = record as unknown as Record<string, unknown>;
  const place = (record.kind === 'rotation' ? 'site' : NAMES.find((name) => typeof named[name] === 'string')) ?? '';
  return String(named[place] ?? '');
}

/**
 * A newer finding of the same kind supersedes the older one only when both are about the same thing. For a rotation that is the
 * site and its three terminals: the two sides of a switch are one site, and the one must not hide the other. For a correction it is
 * the section. No replay supersedes another.
 */
export function aboutOf(finding: Finding): string {
  const subject = subjectOf(finding);
  if (finding.kind === 'rotation') return [subject, ...[...finding.terminals].sort()].join(' | ');
  if (finding.kind === 'replay') return `${subject} | ${finding.id}`;
  return finding.kind === 'correction' ? `${subject} | ${finding.section}` : subject;
}
