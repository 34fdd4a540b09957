/** Which phase a new load should be on, by what it does to every section above it. */
import { type LoadEntry, type Loading, makeLoading } from './model';
import { type SectionLoading, sectionLoading } from './section-loading';
import { statesOf } from './units';

export interface NewLoadOption {
  readonly phases: readonly string[];
  /** worst section and snapshot above the load, with it: largest deviation of a phase, kW */
  readonly worstKW: number;
  /** the same deviations of all of them added up: decides between equals */
  readonly sumKW: number;
  /** the sections from the load up to the source, with it; the nearest first */
  readonly upstream: readonly {
    readonly section: string;
    readonly snapshot: string;
    readonly before: SectionLoading;
    readonly after: SectionLoading;
  }[];
}

/**
 * The choices for a load that is to be added, the best first: the one that leaves the smallest deviation from the mean of the three
 * phases in kW, in the worst section and snapshot above. Sections without all three phases are told but not counted.
 * @param entry its `phases` say only on how many it will be, or where a two-phase one begins
 * @throws RangeError when the load does not fit the feeder
 */
export function phaseForNewLoad(loading: Loading, entry: LoadEntry): NewLoadOption[] {
  const { feeder, document } = loading;
  const section = feeder.indexOf.get(entry.section);
  if (section === undefined) throw new RangeError(`load ${entry.id}: section ${entry.section} is not in sections`);
  const before = sectionLoading(loading);
  const recorded = entry.phases.map((p) => feeder.phases.indexOf(p));
  const first = recorded.length > 0 ? recorded : [feeder.phases.findIndex((_, k) => (feeder.mask[section]! >> k) & 1)];
  // In another order three conductors carry the same, and may turn a customer the other way.
  return statesOf(first, 7, entry.threePhase === true || first.length === 3)
    .map((map) => first.map((p) => map[p]!))
    .filter((to) => to.every((p) => (feeder.mask[section]! >> p) & 1))
    .map((to) => {
      const phases = to.map((p) => feeder.phases[p]!);
      const after = sectionLoading(makeLoading({ ...document, loads: [...document.loads, { ...entry, phases }] }));
      return optionOf(loading, section, phases, before, after);
    })
    .sort((a, b) => a.worstKW - b.worstKW || a.sumKW - b.sumKW);
}

function optionOf(
  { feeder, snapshots }: Loading,
  section: number,
  phases: readonly string[],
  before: readonly SectionLoading[],
  after: readonly SectionLoading[],
): NewLoadOption {
  const upstream: NewLoadOption['upstream'][number][] = [];
  for (let v = section; ; v = feeder.parent[v]!) {
    for (let t = 0; t < snapshots.length; t++) {
      const i = v * snapshots.length + t;
      upstream.push({
        section: feeder.ids[v]!,
        snapshot: snapshots[t]!.id,
        before: before[i]!,
        after: after[i]!,
      });
    }
    if (v === 0) break;
  }
  const counted = upstream.filter((u) => u.after.unbalancePct.kW !== null).map((u) => deviationKW(u.after));
  return { phases, worstKW: Math.max(0, ...counted), sumKW: counted.reduce((a, b) => a + b, 0), upstream };
}

function deviationKW({ phases }: SectionLoading): number {
  const mean = phases.reduce((sum, p) => sum + p.kW, 0) / phases.length;
  return Math.max(...phases.map((p) => Math.abs(p.kW - mean)));
}
