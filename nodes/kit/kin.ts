/**
 * What the nodes of a flow that judge readings of several terminals together have in common with the node that lets readings in: several
 * workers may share the readings of a site only so that one of them sees all of it.
 */

/** A node that judges readings. */
export interface Judge {
  /** terminals whose readings are judged together with those of this one */
  kinOf(terminal: string): readonly string[];
  /** terminals that every worker must hear: the streams of the reference stations */
  readonly heardByAll: readonly string[];
  /** what is remembered of readings may have gaps: other workers dealt with some in the meantime */
  forget(): void;
}

const judges = new Set<Judge>();
let changes = 0;

/** Returns the way to leave. */
export function joinKin(judge: Judge): () => void {
  judges.add(judge);
  changes++;
  return () => {
    judges.delete(judge);
    changes++;
  };
}

/** Counts up when a judge comes or goes: what was worked out before no longer holds. */
export const kinChanges = (): number => changes;

export function forgetAll(): void {
  for (const judge of judges) judge.forget();
}

export function isHeardByAll(terminal: string): boolean {
  for (const { heardByAll } of judges) if (heardByAll.includes(terminal)) return true;
  return false;
}

/** All terminals that are judged together with this one, directly or by way of others, itself included. */
export function kinOf(terminal: string): ReadonlySet<string> {
  const kin = new Set([terminal]);
  for (const known of kin) for (const judge of judges) for (const other of judge.kinOf(known)) kin.add(other);
  return kin;
}
