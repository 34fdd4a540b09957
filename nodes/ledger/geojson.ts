/** GeoJSON (RFC 7946): one feature a record, with the position of the reading, or of the first reading with a position that a finding rests on. */
import type { PhaseloomRecord, Reading } from '../../lib/records';
import type { Ledger } from './ledger';

export interface FeatureCollection {
  readonly type: 'FeatureCollection';
  readonly features: readonly Feature[];
}

export interface Feature {
  readonly type: 'Feature';
  readonly id: string;
  /** longitude first; null: no position is known */
  readonly geometry: { readonly type: 'Point'; readonly coordinates: readonly [number, number] } | null;
  readonly properties: Readonly<Record<string, unknown>>;
}

type Position = NonNullable<Reading['position']>;

const IDS_AT_ONCE = 1000;

export async function geojsonOf(ledger: Ledger, records: readonly PhaseloomRecord[]): Promise<FeatureCollection> {
  const positions = await positionsOf(ledger, records);
  return { type: 'FeatureCollection', features: records.map((record) => feature(record, positions)) };
}

function feature(record: PhaseloomRecord, positions: ReadonlyMap<string, Position>): Feature {
  const { id, position, ...properties } = record as PhaseloomRecord & { position?: Position };
  const at =
    position ??
    sourcesOf(record)
      .map((source) => positions.get(source))
      .find((p) => p !== undefined);
  const geometry = at ? ({ type: 'Point', coordinates: [at.lon, at.lat] } as const) : null;
  return { type: 'Feature', id, geometry, properties };
}

async function positionsOf(ledger: Ledger, records: readonly PhaseloomRecord[]): Promise<Map<string, Position>> {
  const ids = [...new Set(records.flatMap(sourcesOf))];
  const positions = new Map<string, Position>();
  for (let i = 0; i < ids.length; i += IDS_AT_ONCE) {
    const page = await ledger.records({ kinds: ['reading'], ids: ids.slice(i, i + IDS_AT_ONCE), limit: IDS_AT_ONCE });
    for (const reading of page.records as Reading[]) if (reading.position) positions.set(reading.id, reading.position);
  }
  return positions;
}

const sourcesOf = (record: PhaseloomRecord): readonly string[] => (record.kind === 'reading' ? [] : record.from);
