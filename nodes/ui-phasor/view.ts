/** What the widget shows of a record: arrows, the finding in words, why it is not proven, and what it does not say. */
import type { DiagramArrow } from '../../lib/phasor-diagram';
import type { Comparison, Identification, PhaseloomRecord, Rotation } from '../../lib/records';

export interface PhasorView {
  readonly pictures: readonly Picture[];
  /** what the arrows are measured against, in words */
  readonly scales: readonly string[];
  readonly lines: readonly string[];
  readonly reasons: readonly string[];
  readonly cautions: readonly string[];
}

export interface Picture {
  readonly title: string;
  readonly arrows: readonly DiagramArrow[];
}

/** A text of the node's catalogue. */
export type Tell = (key: string, values?: Readonly<Record<string, string>>) => string;

type Shown = Identification | Rotation | Comparison;
const SHOWN = ['identification', 'rotation', 'comparison'];

/**
 * The view of one record or of a batch. Identifications share one picture; each rotation and each pair of an open point has its own,
 * since their arrows would lie on each other.
 * @throws Error when the payload holds none, or something else: says which member and what would be right
 */
export function viewOf(payload: unknown, tell: Tell): PhasorView {
  const given: unknown[] = Array.isArray(payload) ? payload : [payload];
  if (given.length === 0) throw new Error(tell('error.empty'));
  const records = given.map((record, i) => checked(record, Array.isArray(payload) ? `[${i}]` : '', tell));
  const pictures = picturesOf(records, tell).filter((p) => p.arrows.length > 0);
  return {
    pictures,
    scales: pictures.length === 0 ? [] : [...new Set(records.map((r) => tell(`scale.${r.kind}`)))],
    lines: records.flatMap((r) => linesOf(r, tell)),
    reasons: [...new Set(records.flatMap((r) => r.reasons.map((x) => (x.settle ? `${x.why} ${x.settle}` : x.why))))],
    cautions: [...new Set([tell('caution'), ...records.flatMap((r) => (r.caution ? [r.caution] : []))])],
  };
}

function picturesOf(records: readonly Shown[], tell: Tell): Picture[] {
  const titled = (subject: string, arrows: readonly DiagramArrow[]) => ({ title: tell('title', { subject }), arrows });
  const phases = records.filter((r) => r.kind === 'identification');
  const alone = records.flatMap((r) => {
    if (r.kind === 'rotation') return [titled(r.site, arrowsOf(r))];
    return r.kind === 'comparison' ? arrowsOf(r).map((arrow) => titled(`${r.openPoint}, ${arrow.label}`, [arrow])) : [];
  });
  return [titled(phases.map(subjectOf).join(', '), phases.flatMap(arrowsOf)), ...alone];
}

function checked(record: unknown, at: string, tell: Tell): Shown {
  const kind = String((record as PhaseloomRecord | null | undefined)?.kind);
  if (!SHOWN.includes(kind)) throw new Error(tell('error.kind', { at, kind }));
  const shown = record as Shown;
  const list = shown.kind === 'comparison' ? shown.pairs : shown.kind === 'rotation' ? shown.anglesDeg : [];
  if (!Array.isArray(shown.reasons) || !Array.isArray(list)) throw new Error(tell('error.record', { at, kind }));
  return shown;
}

const subjectOf = (r: Shown): string =>
  r.kind === 'identification' ? r.terminal : r.kind === 'rotation' ? r.site : r.openPoint;

/** A drawing has room for the last two parts of a name; the words beside it give the whole. */
const short = (name: string): string => name.split('/').slice(-2).join('/');

function arrowsOf(r: Shown): DiagramArrow[] {
  switch (r.kind) {
    case 'identification': {
      if (r.angleDeg === null) return [];
      const letter = r.verdict === 'not-proven' ? '?' : (r.phase ?? '?');
      return [
        { label: short(r.terminal), letter, angleDeg: r.angleDeg, ...(r.sdDeg === null ? {} : { sdDeg: r.sdDeg }) },
      ];
    }
    case 'rotation':
      return r.anglesDeg.map((angleDeg, i) => ({ label: short(r.terminals[i] ?? ''), letter: `${i + 1}`, angleDeg }));
    case 'comparison':
      // Without a proven common time an arrow beside the other would look like the same phase.
      return r.pairs.flatMap(({ left, right, differenceDeg, sdDeg }, i) =>
        sdDeg === null
          ? []
          : [{ label: `${short(left)} – ${short(right)}`, letter: `${i + 1}`, angleDeg: differenceDeg, sdDeg }],
      );
  }
}

function linesOf(r: Shown, tell: Tell): string[] {
  const line = `${subjectOf(r)}: ${wordsOf(r, tell)}`;
  if (r.kind !== 'comparison') return [line];
  const pairs = r.pairs.map(({ left, right, differenceDeg, sdDeg }, i) => {
    const pair = { number: `${i + 1}`, left, right, angle: differenceDeg.toFixed(1) };
    return sdDeg === null ? tell('pairAsRead', pair) : tell('pair', { ...pair, sd: sdDeg.toFixed(1) });
  });
  return [line, ...pairs];
}

function wordsOf(r: Shown, tell: Tell): string {
  const verdict = tell(`verdict.${r.verdict}`);
  switch (r.kind) {
    case 'identification': {
      if (r.verdict === 'not-proven' || r.phase === null) return verdict;
      const record = r.agreesWithRecord === false ? tell('record', { phase: r.recordedPhase ?? '?' }) : '';
      return [tell('phase', { phase: r.phase, verdict }), record].filter(Boolean).join('; ');
    }
    case 'rotation':
      if (r.sequence === null) return verdict;
      return [r.sequence, r.agreesWithRecord === false ? tell('recordedSequence') : ''].filter(Boolean).join('; ');
    case 'comparison':
      return r.landing && r.landing !== 'straight' ? `${verdict}, ${tell(`landing.${r.landing}`)}` : verdict;
  }
}
