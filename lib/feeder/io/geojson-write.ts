/** What a trace says, on the map (GeoJSON, RFC 7946): sections as lines. */
import type { FeederSection } from '../model';
import { conductorPhases, type FeederTrace, phasesOf, sectionLabel } from '../trace';
import { offers } from '../trace-record';

export type Position = readonly number[];

export interface Feature {
  readonly type: 'Feature';
  readonly geometry: { readonly type: string; readonly coordinates: unknown } | null;
  readonly properties: Readonly<Record<string, unknown>> | null;
}

export interface FeederGeoJson {
  readonly type: 'FeatureCollection';
  readonly features: readonly Feature[];
}

/**
 * What a trace says, on the map: every section that is fed with `recorded` by the feeder document, `phases` by the evidence, their
 * `probability`, what a person `accepted` and whether the evidence has `contradicted` that since, and the probability that conductors cross
 * there. A line where the places of both ends are known, a point where one is, no geometry else. What nothing feeds, open switches among it,
 * has only what is recorded; terminals are points. `readFeederGeoJson` reads the feeder's record back from it, all but its loads.
 */
export function traceGeoJson(trace: FeederTrace): FeederGeoJson {
  const { feeder } = trace;
  const { document } = feeder;
  const rows: Row[] = [...document.sections, ...(document.switches ?? []), ...(document.transformers ?? [])];
  const rowOf = new Map(rows.map((r) => [r.id, r]));
  const place = (v: number): Position | undefined => placeOf(rowOf.get(feeder.ids[v]!));
  const told = tellerOf(trace);
  const sections = feeder.ids.slice(1).map((id, i): Feature => {
    const v = i + 1;
    const properties = { ...recordOf(rowOf.get(id)!), ...told(v) };
    return { type: 'Feature', geometry: geometryOf(place(feeder.parent[v]!), place(v)), properties };
  });
  const dead = rows
    .filter((r) => !feeder.indexOf.has(r.id))
    .map((r): Feature => {
      const properties = { ...recordOf(r), recorded: r.phases, fed: false };
      return { type: 'Feature', geometry: geometryOf(undefined, placeOf(r)), properties };
    });
  const terminals = (document.terminals ?? []).map((t): Feature => {
    return { type: 'Feature', geometry: geometryOf(undefined, placeOf(rowOf.get(t.section))), properties: { ...t } };
  });
  return { type: 'FeatureCollection', features: [...sections, ...dead, ...terminals] };
}

type Row = FeederSection & { readonly vectorGroup?: string; readonly closed?: boolean };

const placeOf = (row: Row | undefined): Position | undefined => row?.position && [row.position.lon, row.position.lat];

function recordOf({ id, from, to, kind, vectorGroup, closed, lengthM, changePrior }: Row) {
  const given = Object.entries({ kind, vectorGroup, closed, lengthM, changePrior }).filter(([, x]) => x !== undefined);
  return { id, from, to, ...Object.fromEntries(given) };
}

/** What the trace says of a section. */
function tellerOf(trace: FeederTrace): (v: number) => Readonly<Record<string, unknown>> {
  const { feeder, solution, standing } = trace;
  const offered = new Set(offers(trace).offered.flatMap((g) => g.labels.map((l) => l.section)));
  return (v) => {
    const { phases, probability } = sectionLabel(trace, v);
    const accepted = standing.recorded[v]!;
    const recorded = phasesOf(feeder, v, 0);
    const decided = { accepted: phasesOf(feeder, v, accepted), contradicted: offered.has(feeder.ids[v]!) };
    return {
      recorded,
      ...(accepted === 0 ? {} : decided),
      phases,
      probability,
      byConductor: conductorPhases(trace, v).map((c, k) => ({ ...c, recorded: recorded[k] })),
      crossing: solution.change[v]!,
      measured: trace.measured[v] === 1,
    };
  };
}

function geometryOf(from: Position | undefined, to: Position | undefined): Feature['geometry'] {
  if (from && to) return { type: 'LineString', coordinates: [from, to] };
  return to ? { type: 'Point', coordinates: to } : null;
}
