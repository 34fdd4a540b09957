/** What the chain of digests shows: what stands as it was stored, what was let go, and where it breaks. */

/** A link of the chain as somebody noted it outside the ledger. */
export interface KnownLink {
  readonly link: number;
  readonly digest: string;
}

/** What came of following the chain of digests from its beginning. */
export interface Verification {
  /** every record that the chain covers stands as it was stored, none is missing, and the known link is in it */
  readonly intact: boolean;
  readonly links: number;
  /** records looked at */
  readonly records: number;
  /** records older than the chain: nothing is said of them */
  readonly notCovered: number;
  /** readings that were summed up and let go, in all, and the last times that was done */
  readonly letGo: {
    readonly readings: number;
    readonly last: readonly {
      readonly link: number;
      readonly at: string;
      readonly by: string;
      readonly takenBefore: string;
      readonly readings: number;
      /** readings as old that stayed since something rests on them */
      readonly held: number;
    }[];
  };
  /** note it elsewhere: only with it can it be shown that the end of the ledger was not cut off or written anew */
  readonly head: KnownLink;
  /** the first place that does not fit */
  readonly broken: {
    readonly link: number;
    readonly at: string;
    readonly why: string;
    readonly records: readonly string[];
  } | null;
}
