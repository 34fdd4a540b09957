/** Labels of the record that the evidence contradicts, grouped by the crossing that explains them. */
import type { SiteEvidence } from './evidence';
import type { MostProbable } from './most-probable';
import { projection } from './permutation';
import { bestProjection, type Solution } from './solve';

/** No correction is offered below this. */
export const OFFERED = 0.95;

export interface Correction {
  readonly section: number;
  /** permutation that holds instead of the recorded order */
  readonly state: number;
  readonly probability: number;
}

export interface CorrectionGroup {
  /** section at which the most probable explanation has the conductors cross */
  readonly cause: number;
  /** probability that exactly this section carries a change; the suspects tell the others */
  readonly causeProbability: number;
  /** permutation above and below the crossing */
  readonly above: number;
  readonly below: number;
  readonly corrections: readonly Correction[];
  /** records of evidence in the part of the feeder that hangs on the crossing */
  readonly from: readonly string[];
}

/**
 * Corrections of labels by cause, those with the most labels first.
 * @param explained gives the most probable explanation; called only when there is a label to correct
 * @param recorded permutation that counts as recorded, by section
 */
export function corrections(
  solution: Solution,
  evidence: readonly SiteEvidence[],
  explained: () => MostProbable,
  recorded: ArrayLike<number> = new Uint8Array(solution.tree.count),
  offered = OFFERED,
): CorrectionGroup[] {
  const { tree, change } = solution;
  const found = contradicted(solution, recorded, offered);
  if (found.length === 0) return [];
  const best = explained();
  const cause = causes(solution, best);
  const groups = new Map<number, Correction[]>();
  for (const correction of found) {
    const c = cause[correction.section]!;
    const list = groups.get(c);
    if (list) list.push(correction);
    else groups.set(c, [correction]);
  }
  return [...groups]
    .map(([c, list]) => ({
      cause: c,
      causeProbability: change[c]!,
      above: c === 0 ? 0 : best.states[tree.parent[c]!]!,
      below: best.states[c]!,
      corrections: list,
      from: [...new Set(evidence.filter((e) => cause[e.section] === c).flatMap((e) => e.from))],
    }))
    .sort((a, b) => b.corrections.length - a.corrections.length || a.cause - b.cause);
}

function contradicted(solution: Solution, recorded: ArrayLike<number>, offered: number): Correction[] {
  const { tree } = solution;
  const found: Correction[] = [];
  for (let v = 1; v < tree.count; v++) {
    const { state, probability } = bestProjection(solution, v);
    if (probability >= offered && !sameLabels(state, recorded[v]!, tree.mask[v]!))
      found.push({ section: v, state, probability });
  }
  return found;
}

const sameLabels = (s: number, t: number, mask: number): boolean => projection(s, mask) === projection(t, mask);

/** For each section the nearest section above (or itself) at which the explanation has the conductors present cross. */
function causes({ tree }: Solution, best: MostProbable): Int32Array {
  const cause = new Int32Array(tree.count);
  for (let v = 1; v < tree.count; v++) {
    const u = tree.parent[v]!;
    cause[v] = sameLabels(best.states[v]!, best.states[u]!, tree.mask[v]!) ? cause[u]! : v;
  }
  return cause;
}

export interface SuspectSite {
  readonly section: number;
  readonly from: readonly string[];
  /** probability that the site's tags are in another order than the record says while its conductors are right */
  readonly tagProbability: number;
  /** probability that the site's readings say nothing */
  readonly faultProbability: number;
}

/** Sites whose readings are explained better by their own fault than by the conductors. */
export function suspectSites(solution: Solution, evidence: readonly SiteEvidence[], least = 0.5): SuspectSite[] {
  return evidence
    .flatMap((e) => {
      if (!e.sound || !e.tag) return [];
      const { sound, tag } = e;
      let right = 0;
      let tags = 0;
      solution.eachState(e.section, (s, shift, p) => {
        const i = e.likelihood.length === 6 ? s : s * 12 + shift;
        right += p * sound[i]!;
        tags += p * tag[i]!;
      });
      const site = { section: e.section, from: e.from, tagProbability: tags, faultProbability: 1 - right - tags };
      return 1 - right >= least ? [site] : [];
    })
    .sort((a, b) => b.tagProbability + b.faultProbability - a.tagProbability - a.faultProbability);
}
