/** What the order of three labelled leads says of their rotation, and what an exchange of leads does to it. */
import type { Reason } from './records';
import type { Sequence } from './windings';

/** Labels in viewing order, as a list or, where each is one letter, as a text: 'CBA'. */
export type Labels = readonly string[] | string;

const PAIRS = [
  [0, 1],
  [0, 2],
  [1, 2],
] as const;
const ABC = ['A', 'B', 'C'];

/**
 * Rotation of conductors by their labels in viewing order. C-B-A has the rotation of B-A-C and A-C-B (common practice, no source).
 * Undefined when the labels are not the three phases, each once.
 * @param phases the labels in the order in which the phases reach their crest
 * @example sequenceOfLabels('CBA') // 'ACB'
 * @example sequenceOfLabels(['L2', 'L3', 'L1'], ['L1', 'L2', 'L3']) // 'ABC'
 */
export function sequenceOfLabels(labels: Labels, phases: Labels = ABC): Sequence | undefined {
  const places = [...labels].map((l) => [...phases].indexOf(l));
  if (places.length !== 3 || new Set(places).size !== 3 || places.includes(-1)) return undefined;
  return (places[1]! - places[0]! + 3) % 3 === 1 ? 'ABC' : 'ACB';
}

/**
 * The three readings of one rotation: moving every conductor by one place does not change it.
 * @example cyclicEquivalents('CBA') // [['C', 'B', 'A'], ['B', 'A', 'C'], ['A', 'C', 'B']]
 */
export function cyclicEquivalents(labels: Labels): readonly (readonly string[])[] {
  const list = [...labels];
  return list.map((_, i) => [...list.slice(i), ...list.slice(0, i)]);
}

/**
 * The exchanges of two leads that turn one sequence into another: any two when they differ, none when they do not.
 * Pairs of places, 0 to 2.
 * @example leadsToExchange('ABC', 'ACB') // [[0, 1], [0, 2], [1, 2]]
 */
export function leadsToExchange(found: Sequence, wanted: Sequence): readonly (readonly [number, number])[] {
  return found === wanted ? [] : PAIRS;
}

export interface Exchange {
  /** places of the two leads, 0 to 2 */
  readonly places: readonly [number, number];
  /** order after the exchange */
  readonly gives: readonly string[];
  /** it is the wanted order, not only its rotation */
  readonly isExact: boolean;
}

export type LeadChange =
  /** the order is the wanted one */
  | { readonly kind: 'none' }
  /** the rotation is the wanted one; to have the order as well, every lead moves on by so many places */
  | { readonly kind: 'roll'; readonly by: 1 | 2 }
  /** the rotation is reversed: any of the three exchanges puts it right, one of them the order as well */
  | { readonly kind: 'exchange'; readonly exchanges: readonly Exchange[] }
  | { readonly kind: 'undecided'; readonly reasons: readonly Reason[] };

/**
 * What turns the order found into the order wanted. Exchanging any two leads reverses the rotation, moving all three by one place
 * does not (IEC 60034-8 and common practice).
 * @example leadChange('ABC', 'CAB') // { kind: 'roll', by: 1 }
 * @example leadChange('ABC', 'BAC').exchanges[0] // { places: [0, 1], gives: ['B', 'A', 'C'], isExact: true }
 */
export function leadChange(found: Labels, wanted: Labels): LeadChange {
  const [from, to] = [[...found], [...wanted]];
  if (from.length !== 3 || new Set(from).size !== 3 || sequenceOfLabels(to, from) === undefined)
    return differentLeads(from, to);
  const by = to.indexOf(from[0]!);
  if (sequenceOfLabels(to, from) === 'ABC')
    return Object.freeze(by === 0 ? { kind: 'none' } : { kind: 'roll', by: by as 1 | 2 });
  return Object.freeze({
    kind: 'exchange',
    exchanges: Object.freeze(PAIRS.map((places) => exchange(from, to, places))),
  });
}

function exchange(from: readonly string[], to: readonly string[], places: readonly [number, number]): Exchange {
  const [i, j] = places;
  const gives = from.with(i, from[j]!).with(j, from[i]!);
  return Object.freeze({ places, gives: Object.freeze(gives), isExact: gives.every((label, k) => label === to[k]) });
}

function differentLeads(from: readonly string[], to: readonly string[]): LeadChange {
  const reason = {
    code: 'different-leads',
    why: `the orders ${from.join('-') || '(none)'} and ${to.join('-') || '(none)'} are not of the same three leads, each once`,
    settle: 'give both orders with the same three labels',
  };
  return Object.freeze({ kind: 'undecided', reasons: Object.freeze([Object.freeze(reason)]) });
}
