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

/** The steps at a site or an open point; empty when the network does not know it. */
export function stepsAt(network: Network, { kind, id }: Place, oneInstrument: boolean): readonly Step[] {
  if (kind === 'site') return siteSteps(network.sites.get(id));
  const point = network.openPoints.get(id);
  return point ? pointSteps(point, oneInstrument) : [];
}

function siteSteps(site: Site | undefined): readonly Step[] {
  return (site?.terminals ?? []).map((t) => step('site', t, 'left'));
}

/** One instrument tells one time: the common conductor is read only where there are two. */
function pointSteps({ left, right, proofTerminal }: OpenPoint, oneInstrument: boolean): readonly Step[] {
  const common = oneInstrument ? undefined : proofTerminal;
  const proof = (part: 'before' | 'after') =>
    common === undefined ? [] : [step(part, common, 'left'), step(part, common, 'right')];
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
