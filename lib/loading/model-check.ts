/** What is wrong with the loads of a feeder, in sentences: where, what, and what would be right. */
import type { Feeder } from '../feeder/model';
import type { LateralEntry, LoadEntry, LoadingDocument, Series } from './model';

export function checkLoading(document: LoadingDocument, feeder: Feeder, snapshots: number): string[] {
  const problems: string[] = [];
  if (!(document.voltageV > 0)) {
    problems.push(`voltageV is ${document.voltageV}; it must be the nominal voltage phase to neutral, volts, above 0`);
  }
  const transformers = new Set((document.transformers ?? []).map((t) => t.id));
  for (const [id, volts] of Object.entries(document.voltageBelowV ?? {})) {
    if (!transformers.has(id)) problems.push(`voltageBelowV: ${id} is not in transformers`);
    else if (!(volts > 0)) problems.push(`voltageBelowV: transformer ${id}: ${volts} must be volts, above 0`);
  }
  const seen = new Set<string>();
  for (const load of document.loads) {
    if (seen.has(load.id)) problems.push(`load ${load.id}: the id is used twice`);
    seen.add(load.id);
    problems.push(...loadProblems(load, feeder, snapshots).map((p) => `load ${load.id}: ${p}`));
  }
  for (const lateral of document.laterals ?? []) problems.push(...lateralProblems(lateral, feeder));
  problems.push(...nestedProblems(document, feeder));
  for (const [section, ohm] of Object.entries(document.resistanceOhm ?? {})) {
    if (!feeder.indexOf.has(section)) problems.push(`resistanceOhm: section ${section} is not in sections`);
    else if (!(ohm >= 0))
      problems.push(`resistanceOhm: section ${section}: ${ohm} must be a number of ohms, 0 or more`);
  }
  return problems;
}

function loadProblems(load: LoadEntry, feeder: Feeder, snapshots: number): string[] {
  const section = feeder.indexOf.get(load.section);
  if (section === undefined) return [`section ${load.section} is not in sections`];
  return [
    ...phaseProblems(load.phases, feeder, section),
    ...(['kW', 'kvar', 'amperes'] as const).flatMap((m) => seriesProblems(m, load[m], snapshots)),
    ...(load.kW === undefined && load.amperes === undefined ? ['neither kW nor amperes is given; give one'] : []),
    ...(load.kW !== undefined && load.amperes !== undefined ? ['kW and amperes are both given; give one'] : []),
    ...(Math.abs(load.powerFactor ?? 1) > 1 || load.powerFactor === 0
      ? [`powerFactor is ${load.powerFactor}; it must be from -1 to 1 and not 0`]
      : []),
    ...costProblems(load.cost),
  ];
}

function phaseProblems(phases: readonly string[], feeder: Feeder, section: number): string[] {
  const unknown = phases.filter((p) => !feeder.phases.includes(p));
  if (unknown.length > 0) return [`phase ${unknown.join(', ')} is unknown; right would be ${feeder.phases.join(', ')}`];
  if (new Set(phases).size !== phases.length) return [`phases ${phases.join(', ')} name one twice`];
  const absent = phases.filter((p) => !((feeder.mask[section]! >> feeder.phases.indexOf(p)) & 1));
  return absent.length > 0 ? [`phase ${absent.join(', ')} is not present in section ${feeder.ids[section]}`] : [];
}

function seriesProblems(name: string, series: Series | undefined, snapshots: number): string[] {
  if (series === undefined) return [];
  const list = typeof series === 'object' ? series : [series];
  const out: string[] = [];
  if (typeof series === 'object' && series.length !== snapshots) {
    out.push(`${name} has ${series.length} figures; right would be ${snapshots}, one for each snapshot`);
  }
  if (!list.every(Number.isFinite)) out.push(`${name} must be numbers, got ${list.join(', ')}`);
  return out;
}

const costProblems = (cost: number | undefined): string[] =>
  cost === undefined || cost > 0 ? [] : [`cost is ${cost}; it must be above 0`];

function lateralProblems({ section, cost }: LateralEntry, feeder: Feeder): string[] {
  if (!feeder.indexOf.has(section)) return [`lateral: section ${section} is not in sections`];
  return costProblems(cost).map((p) => `lateral ${section}: ${p}`);
}

/** What moves inside something that moves would have two causes for one phase. */
function nestedProblems(document: LoadingDocument, feeder: Feeder): string[] {
  const heads = new Set((document.laterals ?? []).map((l) => feeder.indexOf.get(l.section)));
  const above = (v: number): string | undefined => {
    for (let u = v; u > 0; u = feeder.parent[u]!) if (heads.has(u)) return feeder.ids[u];
    return undefined;
  };
  const problems: string[] = [];
  for (const { section } of document.laterals ?? []) {
    const inside = above(feeder.parent[feeder.indexOf.get(section) ?? 0] ?? 0);
    if (inside) problems.push(`lateral ${section}: lies inside the lateral ${inside}; only the outer one can move`);
  }
  for (const load of document.loads) {
    const inside = load.movable ? above(feeder.indexOf.get(load.section) ?? 0) : undefined;
    if (inside) problems.push(`load ${load.id}: lies inside the lateral ${inside}; only the lateral can move`);
  }
  return problems;
}
