/** Words for people. Every state has a sign and a word; colour only repeats them. */
import { signal } from '@preact/signals';
import type { Alert, AlertState, Kind, PhaseloomRecord } from '../../../lib/records';

export const STATES: Readonly<Record<AlertState, { readonly sign: string; readonly word: string }>> = {
  unacknowledged: { sign: '!', word: 'not acknowledged' },
  'returned-unacknowledged': { sign: '?', word: 'gone, not acknowledged' },
  acknowledged: { sign: '✓', word: 'acknowledged' },
  shelved: { sign: '‖', word: 'shelved' },
  'suppressed-by-design': { sign: '‖', word: 'suppressed by design' },
  'out-of-service': { sign: '‖', word: 'out of service' },
  normal: { sign: '–', word: 'normal' },
};

export const CATEGORIES: Readonly<Record<Alert['category'], string>> = {
  'tie-mismatch': 'open point: not the same phase',
  'record-conflict': 'differs from the record',
  'rotation-conflict': 'rotation differs from the record',
  'reference-doubt': 'reference in doubt',
  'instrument-doubt': 'instrument in doubt',
  'network-conflict': 'contradiction in the network',
  'alert-flood': 'many alerts at once',
};

export const VERDICTS: Readonly<Record<string, string>> = {
  'same-phase': 'same phase',
  'not-the-same-phase': 'not the same phase',
  'not-proven': 'not proven',
  confirmed: 'confirmed',
  identified: 'identified',
  decided: 'decided',
};

/** What a reading may be used for, in words: a reading without a clock is still good for rotation, and for no phase. */
export const GRADES = { good: 'good', usable: 'usable with reservations', refused: 'refused' } as const;

export const KINDS: readonly Kind[] = [
  'comparison',
  'identification',
  'rotation',
  'trace',
  'correction',
  'plan',
  'alert',
  'rejection',
  'reading',
];

/** What a record is about. */
export function subjectOf(r: PhaseloomRecord): string {
  if ('openPoint' in r) return String(r.openPoint);
  if ('subject' in r) return String(r.subject);
  if ('terminal' in r && r.terminal) return String(r.terminal);
  if ('site' in r && r.site) return String(r.site);
  if ('feeder' in r) return String(r.feeder);
  return 'source' in r ? String(r.source) : '';
}

export const instantOf = (r: PhaseloomRecord): string => (r.kind === 'reading' ? r.takenAt : r.at);

/** A record in one line. */
export function gist(r: PhaseloomRecord): string {
  switch (r.kind) {
    case 'comparison':
      return [VERDICTS[r.verdict], r.landing && r.landing !== 'straight' ? r.landing : ''].filter(Boolean).join(', ');
    case 'identification':
      return `${r.phase ?? '?'}, ${VERDICTS[r.verdict]}${r.agreesWithRecord === false ? `; the record says ${r.recordedPhase}` : ''}`;
    case 'rotation':
      return r.sequence
        ? `${r.sequence}, ${r.turns}${r.agreesWithRecord === false ? '; differs from the record' : ''}`
        : 'not proven';
    case 'alert':
      return `${STATES[r.state].word} (${r.transition}): ${r.text}`;
    case 'rejection':
      return r.problems.map((p) => p.what).join('; ');
    case 'reading':
      return readingGist(r);
    case 'trace':
      return `${r.corrections.length} corrections, ${r.conflicts.length} contradictions`;
    case 'correction':
      return `${r.section}: ${r.recorded.join(' ')} to ${r.phases.join(' ')} ${r.decision} by ${r.by}`;
    case 'plan':
      return `${r.moves.length} moves: ${r.before.toFixed(1)} to ${r.after.toFixed(1)} ${r.aim.unit}; ${r.moves.filter((m) => m.state === 'confirmed').length} confirmed`;
    default:
      return '';
  }
}

function readingGist(r: Extract<PhaseloomRecord, { kind: 'reading' }>): string {
  const angle = r.angleDeg === undefined ? '' : `${degrees(r.angleDeg)} against ${r.against ?? 'nothing stated'}`;
  const voltage = r.voltageV === undefined ? '' : `${volts(r.voltageV)} ${(r.voltageIs ?? '').replaceAll('-', ' ')}`;
  const corrects = r.corrects === undefined ? '' : 'in place of one that was written down wrong';
  return [angle, voltage, r.instrument?.id, r.by, corrects].filter(Boolean).join(', ');
}

/** Signed, lead positive, as the frame has it. */
export const degrees = (deg: number, digits = 1): string => `${deg < 0 ? '−' : '+'}${Math.abs(deg).toFixed(digits)}°`;

export const volts = (v: number): string => (v >= 10_000 ? `${(v / 1000).toFixed(2)} kV` : `${v.toFixed(0)} V`);

/** 2026-05-04 10:15:30 UTC */
export const instant = (text: string): string => `${text.slice(0, 10)} ${text.slice(11, 19)} UTC`;

/** The clock of the page; what shows an age is drawn again with it. */
const now = signal(Date.now());
setInterval(() => (now.value = Date.now()), 5000);

export function age(text: string, nowMs = Math.max(now.value, Date.now())): string {
  const s = Math.max(0, Math.round((nowMs - Date.parse(text)) / 1000));
  if (s < 90) return `${s} s`;
  if (s < 5400) return `${Math.round(s / 60)} min`;
  return s < 172_800 ? `${Math.round(s / 3600)} h` : `${Math.round(s / 86_400)} d`;
}
