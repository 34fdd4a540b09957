/** What the records say about the places where readings are taken: terminals, sites and open points. */
import { type Feeder, type FeederDocument, makeFeeder } from './feeder/model';
import type { Connection } from './records';
import { parseVectorGroup } from './windings';

export interface Terminal {
  readonly id: string;
  readonly site?: string;
  /** phase label in the record */
  readonly recordedPhase?: string;
  readonly connection?: Connection;
  /** nominal voltage of the three-phase system at this terminal, phase to phase, volts; left out behind a single-phase transformer */
  readonly nominalV?: number;
  /** vector groups passed from the reference's level to this terminal ('unknown' where one is not known); overrides the reference's own path */
  readonly path?: readonly string[];
}

export type Viewing = 'left-to-right' | 'road-to-field' | 'top-to-bottom' | 'near-to-far';

export interface Site {
  readonly id: string;
  readonly name?: string;
  /** in viewing order */
  readonly terminals: readonly string[];
  readonly viewing: Viewing;
  readonly position?: { readonly lat: number; readonly lon: number };
}

export interface OpenPoint {
  readonly id: string;
  readonly name?: string;
  /** facing terminals have the same index */
  readonly left: readonly string[];
  readonly right: readonly string[];
  readonly toleranceDeg?: number;
  /** a conductor that the instruments of both sides read before and after, to prove that they tell the same time */
  readonly proofTerminal?: string;
}

export interface Network {
  readonly id: string;
  readonly name?: string;
  readonly terminals: ReadonlyMap<string, Terminal>;
  readonly sites: ReadonlyMap<string, Site>;
  readonly openPoints: ReadonlyMap<string, OpenPoint>;
  /** site of each terminal */
  readonly siteOf: ReadonlyMap<string, Site>;
  /** open points each terminal takes part in */
  readonly openPointsOf: ReadonlyMap<string, readonly OpenPoint[]>;
  readonly feeders: ReadonlyMap<string, Feeder>;
}

/** The network as people write it: arrays, no indexes. */
export interface NetworkDocument {
  readonly id: string;
  readonly name?: string;
  readonly terminals: readonly Terminal[];
  readonly sites?: readonly Site[];
  readonly openPoints?: readonly OpenPoint[];
  readonly feeders?: readonly FeederDocument[];
}

/**
 * The indexed network, checked: every id unique, every terminal named by a site or open point known.
 * @throws RangeError with every problem found, one a line: what is wrong, where, and what would be right
 */
export function makeNetwork(document: NetworkDocument): Network {
  const problems: string[] = [];
  const terminals = indexById(document.terminals, 'terminals', problems);
  const sites = indexById(document.sites ?? [], 'sites', problems);
  const openPoints = indexById(document.openPoints ?? [], 'openPoints', problems);
  for (const t of document.terminals) problems.push(...pathProblems(t.path, `terminal ${t.id}`));
  const demandKnown = (ids: readonly string[], where: string) => {
    for (const id of ids) if (!terminals.has(id)) problems.push(`${where}: terminal ${id} is not in terminals`);
  };
  const siteOf = new Map<string, Site>();
  for (const site of sites.values()) {
    demandKnown(site.terminals, `site ${site.id}`);
    for (const t of site.terminals) siteOf.set(t, site);
  }
  const openPointsOf = new Map<string, OpenPoint[]>();
  for (const point of openPoints.values()) {
    const proof = point.proofTerminal === undefined ? [] : [point.proofTerminal];
    demandKnown([...point.left, ...point.right, ...proof], `open point ${point.id}`);
    if (point.left.length !== point.right.length || point.left.length === 0) {
      problems.push(
        `open point ${point.id}: left and right must name the same number of terminals, at least one, got ${point.left.length} and ${point.right.length}`,
      );
    }
    for (const t of [...point.left, ...point.right]) openPointsOf.set(t, [...(openPointsOf.get(t) ?? []), point]);
  }
  const feeders = feedersOf(document.feeders ?? [], problems);
  if (problems.length > 0) throw new RangeError(`network ${document.id}:\n${problems.join('\n')}`);
  const named = document.name === undefined ? {} : { name: document.name };
  return Object.freeze({ id: document.id, ...named, terminals, sites, openPoints, siteOf, openPointsOf, feeders });
}

function feedersOf(documents: readonly FeederDocument[], problems: string[]): Map<string, Feeder> {
  const feeders = new Map<string, Feeder>();
  documents.forEach((document, i) => {
    if (feeders.has(document.id)) problems.push(`feeders[${i}]: id ${document.id} is used twice`);
    try {
      feeders.set(document.id, makeFeeder(document));
    } catch (cause) {
      const [where, ...rest] = (cause as Error).message.split('\n');
      problems.push(...rest.map((p) => `${where} ${p}`));
    }
  });
  return feeders;
}

function indexById<T extends { readonly id: string }>(
  items: readonly T[],
  what: string,
  problems: string[],
): Map<string, T> {
  const index = new Map<string, T>();
  items.forEach((item, i) => {
    if (typeof item.id !== 'string' || item.id === '') problems.push(`${what}[${i}]: id must be a non-empty text`);
    else if (index.has(item.id)) problems.push(`${what}[${i}]: id ${item.id} is used twice`);
    else index.set(item.id, Object.freeze(item));
  });
  return index;
}

/** Stands in a path for a transformer whose vector group is not known. */
export const UNKNOWN_GROUP = 'unknown';

/** What is wrong with the vector groups of a path, one text each. */
export function pathProblems(path: readonly string[] | undefined, where: string): string[] {
  return (path ?? []).flatMap((group) => {
    if (group === UNKNOWN_GROUP) return [];
    const parsed = parseVectorGroup(group);
    return parsed.ok ? [] : [`${where}: path: ${parsed.what}; expected ${parsed.expected}, or ${UNKNOWN_GROUP}`];
  });
}
