/** The places as the board's routes tell of them. */
import type { OpenPoint, Site } from '../../../lib/network';
import type { Comparison, Identification, Reading, Reason, Rotation } from '../../../lib/records';

export interface NetworkTerminal {
  readonly id: string;
  readonly recorded: string | null;
  readonly phase: string | null;
  readonly verdict: Identification['verdict'] | null;
}

export type NetworkSite = Omit<Site, 'terminals'> & { readonly terminals: readonly NetworkTerminal[] };
export type NetworkPoint = OpenPoint & { readonly verdict: Comparison['verdict'] | null };

export interface NetworkAnswer {
  readonly id: string;
  readonly name: string;
  readonly phases: readonly string[];
  readonly sites: readonly NetworkSite[];
  readonly openPoints: readonly NetworkPoint[];
}

export interface Conductor {
  readonly id: string;
  readonly recorded: string | null;
  readonly identification: Identification | null;
  readonly reading: Reading | null;
  readonly fitness: { readonly grade: 'good' | 'usable' | 'refused'; readonly reasons: readonly Reason[] } | null;
}

export type ShownPoint = Omit<OpenPoint, 'left' | 'right'> & {
  readonly left: readonly Conductor[];
  readonly right: readonly Conductor[];
  readonly comparison: Comparison | null;
};

export interface SiteAnswer {
  readonly id: string;
  readonly name?: string;
  readonly viewing: string;
  readonly phases: readonly string[];
  /** of the angles that instruments show */
  readonly sense: 'lead' | 'lag';
  readonly terminals: readonly Conductor[];
  readonly rotation: Rotation | null;
  readonly openPoints: readonly ShownPoint[];
}

/** What stands before the last slash: the feeder a site is called after. */
export const feederOf = (site: string): string =>
  site.includes('/') ? site.slice(0, site.lastIndexOf('/')) : 'all sites';

export function byFeeder(sites: readonly NetworkSite[]): ReadonlyMap<string, readonly NetworkSite[]> {
  const feeders = new Map<string, NetworkSite[]>();
  for (const site of sites) {
    const feeder = feederOf(site.id);
    feeders.set(feeder, [...(feeders.get(feeder) ?? []), site]);
  }
  return feeders;
}

/** The last part of a path. */
export const short = (path: string): string => path.slice(path.lastIndexOf('/') + 1);

export const letterOf = ({ identification }: Conductor): string => identification?.phase ?? '?';
