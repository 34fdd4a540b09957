/**
 * Each reading counts once. Identifications, rotations and comparisons may rest on the same readings: taken as independent they would make
 * the same evidence look like two.
 *
 * What a comparison adds is the difference of its two sides, free of an error common to both. Beside angles of one side it is new: the
 * other side's readings given those of the first, P(L, R) = P(L) P(R | L). Beside angles of both sides from the same readings it is
 * nothing new, since P(L) P(R) is already there; so it is left out. Beside a rotation of one side and any evidence of the other
 * it tells that rotation again; so the rotation, the weaker of the two, is left out.
 */
import type { Comparison, Identification, Rotation } from '../records';
import { isEvidence, tieFrom } from './from-records';
import type { Feeder } from './model';

export interface Findings {
  readonly identifications: readonly Identification[];
  readonly rotations: readonly Rotation[];
  readonly comparisons: readonly Comparison[];
}

/** The same findings without those that would count readings again. */
export function readingsOnce(feeder: Feeder, { identifications, rotations, comparisons }: Findings): Findings {
  const angles = ownReadings(
    identifications.filter(isEvidence).map((i) => ({ at: sectionOf(feeder, i.terminal), from: i.from })),
  );
  // A section of which two conductors were identified has its rotation from them.
  const identified = Map.groupBy(identifications.filter(isEvidence), (i) => sectionOf(feeder, i.terminal));
  const conductors = (v: number) => new Set(identified.get(v)?.map((i) => i.terminal)).size;
  const turning = rotations.filter((r) => conductors(sectionOf(feeder, r.terminals[0]!)) < 2);
  const turns = ownReadings(turning.map((r) => ({ at: sectionOf(feeder, r.terminals[0]!), from: r.from })));
  const again = new Set<number>();
  const kept = comparisons.filter((comparison) => {
    const tie = tieFrom(feeder, comparison);
    if (!tie) return false;
    const shares = (own: ReadonlyMap<number, ReadonlySet<string>>, v: number) =>
      comparison.from.some((id) => own.get(v)?.has(id));
    const [a, b] = [tie.a, tie.b].map((v) => shares(angles, v)) as [boolean, boolean];
    if (a && b) return false;
    const [turnsA, turnsB] = [tie.a, tie.b].map((v) => shares(turns, v)) as [boolean, boolean];
    if (turnsB && (a || turnsA)) again.add(tie.b);
    else if (turnsA && b) again.add(tie.a);
    return true;
  });
  return {
    identifications,
    rotations: turning.filter((r) => !again.has(sectionOf(feeder, r.terminals[0]!))),
    comparisons: kept,
  };
}

const sectionOf = (feeder: Feeder, terminal: string): number => feeder.terminals.get(terminal)?.section ?? -1;

/** Readings of each section. One that serves several sections is a reference's: what rests on it too is not the same evidence. */
function ownReadings(
  pieces: readonly { readonly at: number; readonly from: readonly string[] }[],
): Map<number, Set<string>> {
  const place = new Map<string, number>();
  for (const { at, from } of pieces) for (const id of from) place.set(id, (place.get(id) ?? at) === at ? at : -1);
  const own = new Map<number, Set<string>>();
  for (const { at } of pieces) own.set(at, own.get(at) ?? new Set());
  for (const [id, at] of place) own.get(at)?.add(id);
  return own;
}
