/** A network as rows that a dialog can show and change. */
import type { NetworkDocument } from '../../lib/network';
import { readNetwork } from '../../lib/network-document';
import { isCollection, tablesAsGeojson } from '../../lib/network-geojson';
import { tablesAsCsv, tablesOfNetwork } from '../../lib/network-table-text';
import { type Column, POINT_COLUMNS, type Table, TERMINAL_COLUMNS, tablesOf } from '../../lib/network-tables';

/** Cells by column; `where` is how problems name the row. */
export type Row = Readonly<Partial<Record<Column | 'where', string>>>;
export interface Rows {
  readonly terminals: readonly Row[];
  readonly openPoints: readonly Row[];
}

const COLUMNS = { terminals: TERMINAL_COLUMNS, openPoints: POINT_COLUMNS } as const;

/** Undefined where the text is JSON that does not work: there are no rows then. CSV has rows however wrong they are. */
export function rowsOf(text: string): Rows | undefined {
  if (!isJson(text)) return asRows(tablesOf(text, '', []));
  const found = readNetwork({ text, id: 'network' });
  return found.ok ? asRows(tablesOfNetwork(found.document)) : undefined;
}

function asRows(tables: readonly Table[]): Rows {
  const rows = (kind: Table['kind']): Row[] =>
    tables
      .filter((t) => t.kind === kind)
      .flatMap((t) => t.entries)
      .map((e) => ({ where: e.where, ...Object.fromEntries(COLUMNS[kind].map((c) => [c, e.cell(c)])) }));
  return { terminals: rows('terminals'), openPoints: rows('openPoints') };
}

export const tablesOfRows = (rows: Rows): Table[] =>
  (['terminals', 'openPoints'] as const).map((kind) => ({
    kind,
    entries: (Array.isArray(rows[kind]) ? rows[kind] : []).map((row) => ({
      where: row.where ?? '',
      cell: (column: Column) => String(row[column] ?? ''),
    })),
  }));

export interface Written {
  readonly text: string;
  /** why the rows could not be written; the text is then the one from before, and the rows stay where they are */
  readonly problems: readonly string[];
}

/** The text with other rows, in the form it had: CSV, GeoJSON, or JSON, which keeps names and feeders. */
export function withRows(text: string, rows: Rows): Written {
  const csv = tablesAsCsv(tablesOfRows(rows));
  if (!isJson(text)) return { text: csv, problems: [] };
  const found = readNetwork({ text: csv });
  if (!found.ok) return { text, problems: found.problems };
  const before = JSON.parse(text);
  const after = isCollection(before)
    ? tablesAsGeojson(tablesOfRows(rows))
    : { ...before, ...named(found.document, before as NetworkDocument) };
  return { text: JSON.stringify(after, null, 2), problems: [] };
}

/** Sites and open points keep the names they had. */
function named(now: NetworkDocument, before: NetworkDocument): Partial<NetworkDocument> {
  const withNames = <T extends { readonly id: string }>(items: readonly T[] = [], old: readonly T[] = []): T[] =>
    items.map((item) => ({ ...old.find((o) => o.id === item.id), ...item }));
  return {
    terminals: now.terminals,
    sites: withNames(now.sites, before.sites),
    openPoints: withNames(now.openPoints, before.openPoints),
  };
}

const isJson = (text: string): boolean => text.trimStart().startsWith('{');
