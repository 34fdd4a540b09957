/** A network from GeoJSON (RFC 7946): features with the same properties as the columns of the CSV tables. */
import { type NetworkCsvRead, networkOfTables } from './network-csv';
import { type Column, type Entry, POINT_COLUMNS, type Table, TERMINAL_COLUMNS } from './network-tables';

interface Feature {
  readonly type: 'Feature';
  readonly properties?: Readonly<Record<string, unknown>> | null;
  readonly geometry?: { readonly type: string; readonly coordinates?: unknown } | null;
}

interface Collection {
  readonly type: 'FeatureCollection';
  readonly features: readonly Feature[];
}

/** Whether a value says that it is a GeoJSON collection of features. */
export const isCollection = (value: unknown): value is Collection =>
  typeof value === 'object' && value !== null && (value as Collection).type === 'FeatureCollection';

/**
 * A feature with the property `openPoint` is a pair of facing terminals, any other is a terminal. A point places the terminal's site.
 * Properties that are no column are passed over: a GIS has many of its own. A list stands for its members with blanks between.
 * @example readNetworkGeojson({ type: 'FeatureCollection', features: [{ type: 'Feature', properties: { id: 'a/1' } }] }).ok // true
 */
export function readNetworkGeojson(collection: Collection, id?: string): NetworkCsvRead {
  if (!Array.isArray(collection.features)) {
    return { ok: false, problems: ['/features: is not a list; expected the features of the collection'] };
  }
  const problems: string[] = [];
  const entries = collection.features.map((feature, i) => entryOf(feature, `features[${i}]`, problems));
  const isPair = (entry: Entry) => entry.cell('openPoint') !== '';
  const tables: Table[] = [
    { kind: 'terminals', entries: entries.filter((e) => !isPair(e)) },
    { kind: 'openPoints', entries: entries.filter(isPair) },
  ];
  return networkOfTables(tables, id, problems);
}

function entryOf(feature: Feature, where: string, problems: string[]): Entry {
  const stated = Object.entries(feature?.properties ?? {}).map(([name, value]) => [name.toLowerCase(), textOf(value)]);
  const cells = new Map<string, string>(stated as [string, string][]);
  const { geometry } = feature ?? {};
  if (geometry?.type === 'Point') {
    const [lon, lat] = (geometry.coordinates as unknown[] | undefined) ?? [];
    cells.set('lon', textOf(lon));
    cells.set('lat', textOf(lat));
  } else if (geometry && !cells.has('openpoint')) {
    problems.push(`${where}: geometry is a ${geometry.type}; expected a Point, or null where the place is not known`);
  }
  return { where, cell: (column: Column) => cells.get(column.toLowerCase()) ?? '' };
}

const textOf = (value: unknown): string => {
  if (value === null || value === undefined) return '';
  return Array.isArray(value) ? value.join(' ') : String(value).trim();
};

/** Columns that a feature says by its geometry. */
const PLACE: readonly string[] = ['lat', 'lon'];

/** The tables of a network as a collection that reads back the same. */
export function tablesAsGeojson(tables: readonly Table[]): Collection {
  return { type: 'FeatureCollection', features: tables.flatMap((t) => t.entries.map((e) => featureOf(t.kind, e))) };
}

function featureOf(kind: Table['kind'], { cell }: Entry): Feature {
  const columns: readonly Column[] = kind === 'terminals' ? TERMINAL_COLUMNS : POINT_COLUMNS;
  const stated = columns.filter((c) => cell(c) !== '' && !PLACE.includes(c)).map((c) => [c, cell(c)]);
  const isPlaced = kind === 'terminals' && cell('lat') !== '' && cell('lon') !== '';
  const geometry = isPlaced ? { type: 'Point', coordinates: [Number(cell('lon')), Number(cell('lat'))] } : null;
  return { type: 'Feature', properties: Object.fromEntries(stated), geometry };
}
