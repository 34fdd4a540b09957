/** What a crew reads at a place, one step after the other. */
import type { Network, OpenPoint, Site } from '../../../lib/network';

export type Side = 'left' | 'right';

export interface Step {
  /** tells the steps of a place apart, e.g. 'left 671/1' or 'before-right 632/1' */
  readonly key: string;
  readonly terminal: string;
  /** before and after: the common conductor, which shows that both instruments tell the same time */
  readonly part: 'before' | 'left' | 'right' | 'after' | 'site';
  /** the instrument that reads it */
  readonly side: Side;
}

export interface Place {
  readonly kind: 'site' | 'open-point';
  readonly id: string;
}

/** How an open point is read. */
export interface Reads {
  /** one instrument reads both sides */
  readonly hasOne: boolean;
  /** the tie check asks for the common conductor in any case */
  readonly needsCommon: boolean;
}

/** The steps at a site or an open point; empty when the network does not know it. */
export function stepsAt(network: Network, { kind, id }: Place, reads: Reads): readonly Step[] {
  if (kind === 'site') return siteSteps(network.sites.get(id));
  const point = network.openPoints.get(id);
  return point ? pointSteps(point, reads) : [];
}

function siteSteps(site: Site | undefined): readonly Step[] {
  return (site?.terminals ?? []).map((t) => step('site', t, 'left'));
}

/** With one instrument the common conductor is read once before and once after, and only where it is asked for. */
function pointSteps({ left, right, proofTerminal }: OpenPoint, { hasOne, needsCommon }: Reads): readonly Step[] {
  const common = hasOne && !needsCommon ? undefined : proofTerminal;
  const sides = hasOne ? (['left'] as const) : (['left', 'right'] as const);
  const proof = (part: 'before' | 'after') =>
    common === undefined ? [] : sides.map((side) => step(part, common, side));
  return [
    ...proof('before'),
    ...left.map((t) => step('left', t, 'left')),
    ...right.map((t) => step('right', t, 'right')),
    ...proof('after'),
  ];
}

const step = (part: Step['part'], terminal: string, side: Side): Step => ({
  key: `${part === 'before' || part === 'after' ? `${part}-${side}` : part} ${terminal}`,
  terminal,
  part,
  side,
});
