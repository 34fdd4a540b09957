/** What several workers on one ledger need of it to share out the work; a ledger that only one worker uses has none of it. */
import type { Reading } from '../../lib/records';

/** Something that one holder at a time may do, for as long as the lease lasts: by the clock of the ledger, never by that of a worker. */
export interface HoldRequest {
  /** what the claims are about; holders of one scope share its claims evenly */
  readonly scope: string;
  readonly holder: string;
  /** all claims of the scope */
  readonly names: readonly string[];
  /** claims this holder no longer wants to hold */
  readonly giveBack: readonly string[];
  readonly leaseMs: number;
}

export interface Claim {
  readonly name: string;
  /** counts up whenever the claim changes hands, or lapses and is taken again */
  readonly term: number;
}

export interface Holding {
  readonly claims: readonly Claim[];
  /** holders of the scope that are alive, this one included */
  readonly holders: number;
}

export interface LanePlace {
  readonly lane: string;
  readonly seq: number;
}

export interface LaneReading {
  readonly lane: string;
  readonly seq: number;
  readonly reading: Reading;
  readonly source: string;
}

export interface Sharing {
  /** Renews what the holder holds, gives back, and takes free claims up to an even share. Never waits for another worker. */
  hold(request: HoldRequest): Promise<Holding>;
  /** Gives back everything. */
  leave(scope: string, holder: string): Promise<void>;
  /** Claims of a scope that nobody has held for a time. */
  lapsed(scope: string, forMs: number): Promise<readonly string[]>;
  /** Nobody need look for the holder of this claim any more; who wants it may have it. */
  forget(scope: string, name: string): Promise<void>;
  /** Readings of some lanes (doors) after a place in each, in the order of storing. */
  readingsOfLanes(places: readonly LanePlace[], limit: number): Promise<readonly LaneReading[]>;
  /** The place of the newest reading. */
  head(): Promise<number>;
  /** Named places in the ledger, in the order asked; 0 for one that was never moved. */
  placesOf(names: readonly string[]): Promise<readonly number[]>;
  /** Moves several named places at once; none moves back. */
  advanceAll(places: readonly { readonly name: string; readonly seq: number }[]): Promise<void>;
  /** Called when any worker stored readings; may be missed, so look from time to time as well. Returns the way to stop. */
  onReadings(listener: () => void): () => void;
}
