/** The feeder after a plan's moves. */
import { type Loading, type LoadingDocument, makeLoading } from './model';
import type { MovableUnit, PhaseMap } from './units';

export interface UnitMove {
  readonly unit: MovableUnit;
  readonly to: PhaseMap;
}

/** The same loads with the moved ones on their new phases; sections of a lateral keep carrying what hangs on them. */
export function applied(loading: Loading, moves: readonly UnitMove[]): Loading {
  const { document, feeder } = loading;
  const goes = new Map<string, PhaseMap>();
  const heads = new Map<number, PhaseMap>();
  for (const { unit, to } of moves) {
    for (const l of unit.loads) goes.set(l.entry.id, to);
    if (unit.kind === 'lateral') heads.set(feeder.indexOf.get(unit.id)!, to);
  }
  const mapOf = new Map<string, PhaseMap>();
  for (let v = 1; v < feeder.count; v++) {
    const map = heads.get(v) ?? mapOf.get(feeder.ids[feeder.parent[v]!]!);
    if (map) mapOf.set(feeder.ids[v]!, map);
  }
  const turned = (phases: readonly string[], map: PhaseMap | undefined): readonly string[] =>
    map ? phases.map((p) => feeder.phases[map[feeder.phases.indexOf(p)]!]!) : phases;
  const sections = <T extends { readonly id: string; readonly phases: readonly string[] }>(list: readonly T[] = []) =>
    list.map((s) => ({ ...s, phases: turned(s.phases, mapOf.get(s.id)) }));
  const after: LoadingDocument = {
    ...document,
    sections: sections(document.sections),
    ...(document.transformers ? { transformers: sections(document.transformers) } : {}),
    ...(document.switches ? { switches: sections(document.switches) } : {}),
    // Terminals keep the label of the record; which phase they carry then is what the readings afterwards say.
    terminals: [],
    loads: document.loads.map((l) => ({ ...l, phases: turned(l.phases, goes.get(l.id)) })),
  };
  return makeLoading(after);
}
