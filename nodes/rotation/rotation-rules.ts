/** Which three readings show a rotation, and what of. */
import { alignSet, withAlignmentReasons } from '../../lib/align-set';
import type { Frame } from '../../lib/frame';
import type { Network } from '../../lib/network';
import { type SiteView, siteRotation } from '../../lib/site-rotation';
import type { Group, Rules } from '../kit/finding-flow';

export interface RotationGroup extends Group {
  readonly view: SiteView;
}

export interface RotationSettings {
  readonly windowS: number;
  readonly combineS: number;
  /** three terminals named on the node stand in for the sites of the network */
  readonly own: { readonly view: SiteView; readonly terminals: readonly string[] } | undefined;
}

export function rotationRules(
  frame: Frame,
  network: Network | undefined,
  { windowS, combineS, own }: RotationSettings,
): Rules<RotationGroup> {
  const sites = own
    ? [own]
    : [...(network?.sites.values() ?? [])]
        .filter((s) => s.terminals.length === 3)
        .map((s) => ({ view: { site: s.id, viewing: s.viewing }, terminals: s.terminals }));
  const groups = new Map<string, RotationGroup[]>();
  for (const { view, terminals } of sites) {
    const group = { id: view.site, view, terminals, windowS, combineS };
    for (const t of terminals) groups.set(t, [...(groups.get(t) ?? []), group]);
  }
  return {
    saysAgain: false,
    groupsOf: (terminal) => groups.get(terminal) ?? [],
    restsOn: (_group, set) => (set.complete ? set.conductors.flatMap((c) => c.readings) : []),
    conclude({ view }, set, _reading, _window, align) {
      const { conductors, unaligned } = alignSet(set.conductors, frame, align, true);
      const found = siteRotation(view, conductors, frame, { terminals: network?.terminals });
      const reasons = [...withAlignmentReasons(found.reasons, unaligned)];
      return [Object.freeze({ ...found, reasons })];
    },
  };
}
