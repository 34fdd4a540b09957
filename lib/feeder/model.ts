/** The feeder as its records describe it, and the same feeder as arrays in which every section comes after the one that feeds it. */
import { makeIndex } from './model-index';

/** What stands at the head of a section; decides how likely conductors cross there. */
export type SectionKind = 'span' | 'joint' | 'dip' | 'tap' | 'transformer' | 'switch' | 'service' | 'works';

/**
 * Probability that the conductors present in a section do not continue those of the section above as the record says, by kind.
 * Common practice, no source: choose high rather than low, since too small a prior makes false confidence.
 */
export const CHANGE_PRIOR: Readonly<Record<SectionKind, number>> = {
  span: 0.0005,
  switch: 0.002,
  service: 0.002,
  joint: 0.02,
  dip: 0.02,
  tap: 0.02,
  transformer: 0.02,
  works: 0.05,
};

export interface FeederSection {
  readonly id: string;
  /** nodes; either end may be the upstream one */
  readonly from: string;
  readonly to: string;
  /** recorded phases of the conductors present, in recorded conductor order, e.g. ['C', 'A'] */
  readonly phases: readonly string[];
  /** left out: span */
  readonly kind?: SectionKind;
  /** probability that its conductors change at this section; overrides the one of its kind */
  readonly changePrior?: number;
  readonly lengthM?: number;
  readonly position?: { readonly lat: number; readonly lon: number };
}

/** A transformer is a section between two nodes whose windings shift the angle. */
export interface FeederTransformer extends Omit<FeederSection, 'kind'> {
  /** e.g. 'Dyn11', 'YNyn0', 'unknown', or 'centre-tap' for a single-phase one with two half windings (0 and 180 degrees) */
  readonly vectorGroup: string;
}

/** A closed switch is a section; an open one joins nothing. */
export interface FeederSwitch extends Omit<FeederSection, 'kind'> {
  readonly closed: boolean;
}

/** Where a terminal of the network touches the feeder. */
export interface FeederTerminal {
  /** id of a terminal of the network */
  readonly id: string;
  /** section it belongs to, at that section's far end */
  readonly section: string;
  /** recorded phase of the conductor it touches; must be among the phases of the section */
  readonly phase: string;
  /** readings taken together at one site share its faults; left out: the section's own site */
  readonly site?: string;
  /** the voltage read stands opposite (second half winding of a centre tap) */
  readonly reversed?: boolean;
}

export interface FeederLoad {
  readonly id: string;
  readonly section: string;
  readonly phases: readonly string[];
  readonly kw: number;
  readonly kvar?: number;
}

/** The feeder as people write it. */
export interface FeederDocument {
  readonly id: string;
  readonly name?: string;
  /** phase labels in the order in which they reach their crest; left out: A, B, C */
  readonly phases?: readonly [string, string, string];
  /** node from which the feeder is fed; there the record is taken as true */
  readonly source: string;
  readonly sections: readonly FeederSection[];
  readonly transformers?: readonly FeederTransformer[];
  readonly switches?: readonly FeederSwitch[];
  readonly terminals?: readonly FeederTerminal[];
  readonly loads?: readonly FeederLoad[];
}

/** What the inference needs: sections 1 to count - 1, each fed by one of smaller index; 0 is the source. */
export interface FeederTree {
  readonly count: number;
  readonly parent: Int32Array;
  /** probability that the order of three changes between a section and the one that feeds it, absent conductors included */
  readonly changePrior: Float32Array;
  /** bit j: the conductor recorded as phases[j] is present */
  readonly mask: Uint8Array;
  /** sections that turn the angle, by index */
  readonly windings: ReadonlyMap<number, readonly ClockNumber[]>;
}

/** A possible clock number of a transformer: the secondary stands 30 degrees x n after the primary. */
export interface ClockNumber {
  readonly n: number;
  readonly probability: number;
}

/** Two sections that are one conductor set, joined by the far end of a closing section. */
export interface ClosedLoop {
  readonly closing: number;
  readonly other: number;
}

export interface Feeder extends FeederTree {
  readonly id: string;
  readonly phases: readonly [string, string, string];
  /** ids[0] is the source node */
  readonly ids: readonly string[];
  readonly indexOf: ReadonlyMap<string, number>;
  readonly kinds: readonly (SectionKind | 'source')[];
  /** section that feeds each node */
  readonly feeding: ReadonlyMap<string, number>;
  readonly loops: readonly ClosedLoop[];
  /** open switches with both sides on this feeder */
  readonly openTies: readonly { readonly id: string; readonly left: number; readonly right: number }[];
  readonly terminals: ReadonlyMap<string, PlacedTerminal>;
  /** sections that nothing feeds */
  readonly unfed: readonly string[];
  readonly document: FeederDocument;
}

export interface PlacedTerminal {
  readonly id: string;
  readonly section: number;
  readonly conductor: number;
  readonly site: string;
  readonly reversed: boolean;
}

/**
 * The indexed feeder.
 * @throws RangeError with every problem found, one a line: which row, what is wrong, and what would be right
 */
export const makeFeeder = (document: FeederDocument): Feeder => makeIndex(document);
