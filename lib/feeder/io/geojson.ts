/** A feeder on the map (GeoJSON, RFC 7946): sections as lines, terminals as points. */
import type { FeederDocument, FeederSection, FeederTerminal, SectionKind } from '../model';
import { conductorPhases, type FeederTrace, phasesOf, sectionLabel } from '../trace';
import { offers } from '../trace-record';
import { checked, type FeederRead } from './read';
import { phasesIn } from './tables';

type Position = readonly number[];

interface Feature {
  readonly type: 'Feature';
  readonly geometry: { readonly type: string; readonly coordinates: unknown } | null;
  readonly properties: Readonly<Record<string, unknown>> | null;
}

export interface FeederGeoJson {
  readonly type: 'FeatureCollection';
  readonly features: readonly Feature[];
}

export interface GeoJsonOptions {
  readonly id: string;
  /** node from which the feeder is fed: its name, or its place as `lon,lat` where lines meet only by place */
  readonly source: string;
  readonly phases?: readonly [string, string, string];
}

/**
 * Lines are sections: properties `id`, `phases` (an array, or a text such as "BC"), and where known `from`, `to`, `kind`, `vectorGroup`
 * (makes a transformer), `closed` (makes a switch), `changePrior`, `lengthM`. Lines without `from` and `to` meet where their ends have the same place to 1e-7 degrees.
 * Points are terminals: properties `id`, `section`, `phase`, `site`, `reversed`. Other features are passed over.
 */
export function readFeederGeoJson(value: unknown, { id, source, phases }: GeoJsonOptions): FeederRead {
  const features = (value as Partial<FeederGeoJson> | null)?.features;
  if (!Array.isArray(features)) {
    return { ok: false, problems: ['features is missing; expected a GeoJSON FeatureCollection'] };
  }
  const problems: string[] = [];
  const lines = features.flatMap((f: Feature | null | undefined, i) =>
    f?.geometry?.type === 'LineString' ? [lineOf(f, i, problems)] : [],
  );
  const points = features.flatMap((f: Feature | null | undefined) =>
    f?.geometry?.type === 'Point' && f.properties?.section !== undefined ? [f.properties] : [],
  );
  for (const p of points) {
    if (p.reversed === undefined || typeof p.reversed === 'boolean') continue;
    problems.push(`terminal ${p.id ?? '(no id)'}: reversed is ${JSON.stringify(p.reversed)}; expected true or false`);
  }
  if (lines.length === 0) problems.push('features: there is no LineString; expected a line for each section');
  const document: FeederDocument = {
    id,
    ...(phases ? { phases } : {}),
    source,
    sections: lines.filter((l) => !l.isSwitch && !l.group).map((l) => ({ ...l.section, ...l.kind })),
    switches: lines.filter((l) => l.isSwitch).map((l) => ({ ...l.section, closed: l.closed })),
    transformers: lines.flatMap((l) => (l.group ? [{ ...l.section, vectorGroup: l.group }] : [])),
    terminals: points.map((p) => p as unknown as FeederTerminal),
  };
  return checked(document, problems);
}

function lineOf({ geometry, properties }: Feature, i: number, problems: string[]) {
  const p = properties ?? {};
  const line = geometry?.coordinates as readonly Position[];
  const where = `features[${i}] (${p.id ?? 'no id'})`;
  if (!Array.isArray(line) || line.length < 2 || line.some((c) => !Array.isArray(c) || !c.every(Number.isFinite))) {
    problems.push(`${where}: the coordinates are not those of a line; expected [[lon, lat], [lon, lat], ...]`);
  }
  if (p.closed !== undefined && typeof p.closed !== 'boolean') {
    problems.push(`${where}: closed is ${JSON.stringify(p.closed)}; expected true or false`);
  }
  if (p.phases === undefined) problems.push(`${where}: phases is missing; expected e.g. ["A", "B"] or "AB"`);
  const end = line?.at(-1) ?? [];
  const section: Omit<FeederSection, 'kind'> = {
    id: String(p.id ?? ''),
    from: String(p.from ?? placeName(line?.[0])),
    to: String(p.to ?? placeName(end)),
    phases: Array.isArray(p.phases) ? p.phases.map(String) : phasesIn(String(p.phases ?? '')),
    ...(typeof p.changePrior === 'number' ? { changePrior: p.changePrior } : {}),
    ...(typeof p.lengthM === 'number' ? { lengthM: p.lengthM } : {}),
    ...(end.length >= 2 ? { position: { lon: end[0] as number, lat: end[1] as number } } : {}),
  };
  const kind = p.kind === undefined ? {} : { kind: p.kind as SectionKind };
  const group = typeof p.vectorGroup === 'string' ? p.vectorGroup : '';
  return { section, kind, group, isSwitch: typeof p.closed === 'boolean', closed: p.closed === true };
}

const placeName = (place: Position | undefined): string => (place ?? []).slice(0, 2).map(rounded).join(',');
const rounded = (degrees: number): number => Math.round(degrees * 1e7) / 1e7;

/**
 * What a trace says, on the map: every section that is fed with `recorded` by the feeder document, `phases` by the evidence, their
 * `probability`, what a person `accepted` and whether the evidence has `contradicted` that since, and the probability that conductors cross there. A line where the places of both ends are known, a point where one is, no geometry else.
 */
export function traceGeoJson(trace: FeederTrace): FeederGeoJson {
  const { feeder, solution, standing } = trace;
  const { document } = feeder;
  const offered = new Set(offers(trace).offered.flatMap((g) => g.labels.map((l) => l.section)));
  const rows = [...document.sections, ...(document.switches ?? []), ...(document.transformers ?? [])];
  const rowOf = new Map<string, FeederSection & Record<string, unknown>>(rows.map((r) => [r.id, { ...r }]));
  const place = (v: number): Position | undefined => {
    const at = rowOf.get(feeder.ids[v]!)?.position;
    return at && [at.lon, at.lat];
  };
  const features = feeder.ids.slice(1).map((id, i): Feature => {
    const v = i + 1;
    const row = rowOf.get(id)!;
    const { phases, probability } = sectionLabel(trace, v);
    const accepted = standing.recorded[v]!;
    const recorded = phasesOf(feeder, v, 0);
    return {
      type: 'Feature',
      geometry: geometryOf(place(feeder.parent[v]!), place(v)),
      properties: {
        id,
        from: row.from,
        to: row.to,
        ...(row.kind === undefined ? {} : { kind: row.kind }),
        ...(row.vectorGroup === undefined ? {} : { vectorGroup: row.vectorGroup }),
        ...(row.closed === undefined ? {} : { closed: row.closed }),
        ...(row.lengthM === undefined ? {} : { lengthM: row.lengthM }),
        ...(row.changePrior === undefined ? {} : { changePrior: row.changePrior }),
        recorded,
        ...(accepted === 0 ? {} : { accepted: phasesOf(feeder, v, accepted), contradicted: offered.has(id) }),
        phases,
        probability,
        byConductor: conductorPhases(trace, v).map((c, k) => ({ ...c, recorded: recorded[k] })),
        crossing: solution.change[v]!,
        measured: trace.measured[v] === 1,
      },
    };
  });
  return { type: 'FeatureCollection', features };
}

function geometryOf(from: Position | undefined, to: Position | undefined): Feature['geometry'] {
  if (from && to) return { type: 'LineString', coordinates: [from, to] };
  return to ? { type: 'Point', coordinates: to } : null;
}
