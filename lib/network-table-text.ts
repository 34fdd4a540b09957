/** A network written as the CSV tables that people keep in spreadsheets. */
import type { NetworkDocument, Terminal } from './network';
import { type Column, type Entry, POINT_COLUMNS, type Table, TERMINAL_COLUMNS } from './network-tables';

/**
 * The tables of a document. Names of the network, its sites and open points, and feeders have no column.
 * @example tablesOfNetwork({ id: 'n', terminals: [{ id: 'a/1' }] })[0].entries[0].cell('id') // 'a/1'
 */
export function tablesOfNetwork(document: NetworkDocument): Table[] {
  const terminals = document.terminals.map((t) => entry(terminalCells(t, document)));
  const openPoints = (document.openPoints ?? []).flatMap((point) =>
    point.left.map((left, i) =>
      entry({
        openPoint: point.id,
        left,
        right: point.right[i] ?? '',
        toleranceDeg: i === 0 ? textOf(point.toleranceDeg) : '',
        proofTerminal: i === 0 ? (point.proofTerminal ?? '') : '',
      }),
    ),
  );
  return [
    { kind: 'terminals', entries: terminals },
    { kind: 'openPoints', entries: openPoints },
  ];
}

function terminalCells(terminal: Terminal, { sites = [] }: NetworkDocument): Partial<Record<Column, string>> {
  const site = sites.find((s) => s.terminals.includes(terminal.id));
  return {
    id: terminal.id,
    site: site?.id ?? terminal.site ?? '',
    position: site ? String(site.terminals.indexOf(terminal.id) + 1) : '',
    viewing: site?.viewing ?? '',
    recordedPhase: terminal.recordedPhase ?? '',
    connection: terminal.connection ?? '',
    nominalV: textOf(terminal.nominalV),
    path: terminal.path?.length === 0 ? 'none' : (terminal.path?.join(' ') ?? ''),
    lat: textOf(site?.position?.lat),
    lon: textOf(site?.position?.lon),
  };
}

const textOf = (value: number | undefined): string => (value === undefined ? '' : String(value));

const entry = (cells: Partial<Record<Column, string>>): Entry => ({ where: '', cell: (column) => cells[column] ?? '' });

/** Tables as CSV (RFC 4180) with an empty row between; columns in which nothing stands are left out. */
export function tablesAsCsv(tables: readonly Table[]): string {
  return tables
    .filter(({ entries }) => entries.length > 0)
    .map(tableAsCsv)
    .join('\n');
}

function tableAsCsv({ kind, entries }: Table): string {
  const all: readonly Column[] = kind === 'terminals' ? TERMINAL_COLUMNS : POINT_COLUMNS;
  const first = kind === 'terminals' ? 1 : 3;
  const columns = all.filter((column, i) => i < first || entries.some((e) => e.cell(column) !== ''));
  const rows = [columns, ...entries.map(({ cell }) => columns.map(cell))];
  return rows.map((row) => `${row.map(field).join(',')}\n`).join('');
}

const field = (text: string): string => (/[",;\t\n\r]|^\s|\s$/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
