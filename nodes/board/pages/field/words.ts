/** Words and figures as the field page and the job sheet show them. */
import type { Comparison, Identification, Reason, Rotation } from '../../../../lib/records';

/** Signed, lead positive unless the frame says otherwise. */
export const degrees = (deg: number): string => `${deg < 0 ? '−' : '+'}${Math.abs(deg).toFixed(1)}°`;

export const volts = (v: number): string => (v >= 10_000 ? `${(v / 1000).toFixed(2)} kV` : `${v.toFixed(0)} V`);

export const instant = (text: string): string => `${text.slice(0, 10)} ${text.slice(11, 19)} UTC`;

const VERDICTS: Readonly<Record<Comparison['verdict'], string>> = {
  'same-phase': 'same phase',
  'not-the-same-phase': 'not the same phase',
  'not-proven': 'not proven',
};
export const comparisonWords = ({ verdict }: Comparison): string => VERDICTS[verdict];

export function phaseWords({ phase, verdict, agreesWithRecord, recordedPhase }: Identification): string {
  const said =
    phase === null ? 'phase not proven' : `phase ${phase}, ${verdict === 'not-proven' ? 'not proven' : verdict}`;
  if (agreesWithRecord === null) return said;
  return agreesWithRecord ? `${said}; the record agrees` : `${said}; the record says ${recordedPhase}`;
}

export function rotationWords(r: Rotation): string {
  const seen = `seen ${r.viewing.replaceAll('-', ' ')}`;
  if (r.sequence === null) return `rotation not proven (${seen})`;
  const differs = r.agreesWithRecord === false ? `; the record says ${r.recordedSequence}` : '';
  return `rotation ${r.sequence}, ${r.turns} (${seen})${differs}`;
}

export const reasonWords = ({ why, settle }: Reason): string =>
  settle ? `${why}. To settle it: ${settle}.` : `${why}.`;
