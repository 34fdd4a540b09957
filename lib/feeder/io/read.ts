/** What comes of reading a feeder of unknown origin, and what all the ways of reading share. */

import { type Feeder, type FeederDocument, type FeederLoad, type FeederTerminal, makeFeeder } from '../model';
import { FeederError } from '../model-check';

export type FeederRead =
  | { readonly ok: true; readonly feeder: Feeder; readonly document: FeederDocument }
  | { readonly ok: false; readonly problems: readonly string[] };

/** Where the rows of each table of a document stood in what it was read from. */
export type Origins = Readonly<Record<string, readonly { readonly where: string }[]>>;

/** Checks a document; its problems are sentences for people: which row, what, and what would be right. */
export function checked(document: FeederDocument, problems: readonly string[] = [], origins: Origins = {}): FeederRead {
  if (problems.length > 0) return { ok: false, problems };
  try {
    return { ok: true, feeder: makeFeeder(document), document };
  } catch (cause) {
    if (!(cause instanceof FeederError)) throw cause;
    return { ok: false, problems: cause.problems.map((p) => placed(p, origins)) };
  }
}

/** `sections[2] (a): ..` as the row or feature it came from. */
const placed = (problem: string, origins: Origins): string =>
  problem.replace(/^(\w+)\[(\d+)\]/, (as, table, i) => origins[table]?.[Number(i)]?.where ?? as);

/** Terminals and loads that name a node, not a section. */
export interface AtNodes {
  readonly terminals: readonly (Omit<FeederTerminal, 'section'> & { readonly node: string })[];
  readonly loads: readonly (Omit<FeederLoad, 'section'> & { readonly node: string })[];
}

/** Puts what stands at a node on the section that feeds it; what stands at the source or at an unfed node is left out. */
export function placedAtNodes(document: FeederDocument, { terminals, loads }: AtNodes): FeederRead {
  const bare = checked(document);
  if (!bare.ok) return bare;
  const { feeding, ids } = bare.feeder;
  const place = <T extends { readonly node: string }>({ node, ...rest }: T) => {
    const section = feeding.get(node);
    return section ? [{ ...rest, section: ids[section]! }] : [];
  };
  return checked({ ...document, terminals: terminals.flatMap(place), loads: loads.flatMap(place) } as FeederDocument);
}
