/** A feeder from a map (GeoJSON, RFC 7946): sections as lines, terminals as points. */
import type { Feeder, FeederDocument, FeederSection, FeederTerminal, SectionKind } from '../model';
import type { Feature, FeederGeoJson, Position } from './geojson-write';
import { checked, type FeederRead } from './read';
import { phasesIn } from './tables';

export interface GeoJsonOptions {
  readonly id: string;
  /** node from which the feeder is fed: its name, or its place as `lon,lat` where lines meet only by place */
  readonly source: string;
  readonly phases?: readonly [string, string, string];
}

/**
 * Lines are sections: properties `id`, `phases` (an array, or a text such as "BC"), and where known `from`, `to`, `kind`, `vectorGroup`
 * (makes a transformer), `closed` (makes a switch), `changePrior`, `lengthM`. Lines without `from` and `to` meet where their ends have the
 * same place to 1e-7 degrees; either end may be the upstream one. A feature with `from` and `to` is a section whatever its geometry.
 * On a map that a trace was written to, `recorded` goes before `phases`: what the evidence says makes no record.
 * Points are terminals: properties `id`, `section`, `phase`, `site`, `reversed`. Other features are passed over.
 */
export function readFeederGeoJson(value: unknown, { id, source, phases }: GeoJsonOptions): FeederRead {
  const features = (value as Partial<FeederGeoJson> | null)?.features;
  if (!Array.isArray(features)) {
    return { ok: false, problems: ['features is missing; expected a GeoJSON FeatureCollection'] };
  }
  const placed = (features as readonly (Feature | null | undefined)[]).map((f, i) => ({
    geometry: f?.geometry ?? null,
    p: f?.properties ?? {},
    where: `features[${i}]`,
  }));
  const problems: string[] = [];
  const lines = placed.filter(isSection).map((f) => lineOf(f, problems));
  const terminals = placed.filter(isTerminal);
  for (const t of terminals) problems.push(...terminalProblems(t));
  if (lines.length === 0) problems.push('features: there is no LineString; expected a line for each section');
  const ofTable = (table: Line['table']) => lines.filter((l) => l.table === table);
  const rows = (at: (line: Line) => Position | undefined): FeederDocument => ({
    id,
    ...(phases ? { phases } : {}),
    source: sourceAmong(source, lines),
    sections: ofTable('sections').map((l) => ({ ...row(l, at(l)), ...l.kind })),
    switches: ofTable('switches').map((l) => ({ ...row(l, at(l)), closed: l.closed })),
    transformers: ofTable('transformers').map((l) => ({ ...row(l, at(l)), vectorGroup: l.group })),
    terminals: terminals.map(({ p }) => p as unknown as FeederTerminal),
  });
  const origins = {
    sections: ofTable('sections'),
    switches: ofTable('switches'),
    transformers: ofTable('transformers'),
    terminals,
  };
  const read = checked(
    rows((l) => l.ends.at(-1)),
    problems,
    origins,
  );
  return read.ok ? checked(rows((l) => l.ends.at(endsAtFrom(read.feeder, l) ? 0 : -1))) : read;
}

interface Placed {
  readonly geometry: Feature['geometry'];
  readonly p: Readonly<Record<string, unknown>>;
  readonly where: string;
}

interface Line {
  readonly where: string;
  readonly table: 'sections' | 'switches' | 'transformers';
  readonly section: Omit<FeederSection, 'kind' | 'position'>;
  /** places of `from` and `to`; one where only that of the far end is known */
  readonly ends: readonly Position[];
  readonly kind: { readonly kind?: SectionKind };
  readonly group: string;
  readonly closed: boolean;
}

const isTerminal = ({ geometry, p }: Placed): boolean =>
  (geometry === null || geometry.type === 'Point') &&
  (p.section !== undefined || p.phase !== undefined) &&
  p.from === undefined;
const isSection = ({ geometry, p }: Placed): boolean =>
  ['LineString', 'MultiLineString'].includes(geometry?.type ?? '') || (p.from !== undefined && p.to !== undefined);

const row = ({ section }: Line, at: Position | undefined): Omit<FeederSection, 'kind'> =>
  at === undefined ? section : { ...section, position: { lon: at[0]!, lat: at[1]! } };

function terminalProblems({ p, where }: Placed): string[] {
  const missing = ['id', 'section', 'phase'].filter((m) => p[m] === undefined);
  const told = `${where} (${p.id ?? 'no id'})`;
  if (missing.length > 0)
    return [`${told}: ${missing.join(', ')} is missing; expected id, section and phase of a terminal`];
  return p.reversed === undefined || typeof p.reversed === 'boolean'
    ? []
    : [`${told}: reversed is ${JSON.stringify(p.reversed)}; expected true or false`];
}

function lineOf({ geometry, p, where }: Placed, problems: string[]): Line {
  const told = `${where} (${p.id ?? 'no id'})`;
  const ends = endsOf(geometry);
  if (ends === undefined) {
    problems.push(`${told}: the coordinates are not those of a line; expected [[lon, lat], [lon, lat], ...]`);
  }
  problems.push(...memberProblems(p).map((problem) => `${told}: ${problem}`));
  const phases = p.recorded ?? p.phases;
  const section = {
    id: String(p.id ?? ''),
    from: String(p.from ?? placeName(ends?.[0])),
    to: String(p.to ?? placeName(ends?.at(-1))),
    phases: Array.isArray(phases) ? phases.map(String) : phasesIn(String(phases ?? '')),
    ...(typeof p.changePrior === 'number' ? { changePrior: p.changePrior } : {}),
    ...(typeof p.lengthM === 'number' ? { lengthM: p.lengthM } : {}),
  };
  const kind = isGiven(p.kind) ? { kind: p.kind as SectionKind } : {};
  const group = isGiven(p.vectorGroup) ? String(p.vectorGroup) : '';
  const table = typeof p.closed === 'boolean' ? 'switches' : group ? 'transformers' : 'sections';
  return { where, table, section, ends: ends ?? [], kind, group, closed: p.closed === true };
}

const isGiven = (member: unknown): boolean => member !== undefined && member !== null && member !== '';

/** First and last place of a line, the one place of a point, none without a geometry; undefined where they are no places. */
function endsOf(geometry: Feature['geometry']): readonly Position[] | undefined {
  if (!geometry) return [];
  const { type, coordinates } = geometry;
  if (type === 'Point') return isPlace(coordinates) ? [coordinates] : undefined;
  const parts = coordinates as readonly unknown[];
  const line = type === 'MultiLineString' && Array.isArray(parts) && parts.length === 1 ? parts[0] : parts;
  if (!Array.isArray(line) || line.length < 2 || !line.every(isPlace)) return undefined;
  return [line[0] as Position, line.at(-1) as Position];
}

const isPlace = (at: unknown): at is Position => Array.isArray(at) && at.length >= 2 && at.every(Number.isFinite);

/** Passed over, what is meant as a switch would conduct and what is meant as a transformer turn nothing. */
function memberProblems(p: Placed['p']): string[] {
  const wrong = (member: string, expected: string) =>
    `${member} is ${JSON.stringify(p[member]) ?? 'missing'}; expected ${expected}`;
  const problems: string[] = [];
  if (p.recorded === undefined && p.phases === undefined) problems.push(wrong('phases', 'e.g. ["A", "B"] or "AB"'));
  if ((isGiven(p.closed) || p.kind === 'switch') && typeof p.closed !== 'boolean') {
    problems.push(wrong('closed', 'true or false'));
  }
  if (p.kind === 'transformer' && !isGiven(p.vectorGroup)) problems.push(wrong('vectorGroup', 'e.g. Dyn11 or unknown'));
  for (const member of ['changePrior', 'lengthM']) {
    if (isGiven(p[member]) && typeof p[member] !== 'number') problems.push(wrong(member, 'a number'));
  }
  return problems;
}

const placeName = (place: Position | undefined): string => (place ?? []).slice(0, 2).map(rounded).join(',');
const rounded = (degrees: number): number => Math.round(degrees * 1e7) / 1e7;

/** A source given by its place is rounded as the ends of lines are. */
function sourceAmong(source: string, lines: readonly Line[]): string {
  if (lines.some(({ section }) => section.from === source || section.to === source)) return source;
  const place = source.split(',').map((x) => (x.trim() === '' ? Number.NaN : Number(x)));
  return isPlace(place) ? placeName(place) : source;
}

/** Whether the end away from the source is the one that the line names first. */
function endsAtFrom({ indexOf, feeding, parent }: Feeder, { section }: Line): boolean {
  const v = indexOf.get(section.id);
  if (v === undefined || feeding.get(section.to) === v) return false;
  return feeding.get(section.from) === v || feeding.get(section.from) !== parent[v];
}
