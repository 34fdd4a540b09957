/** A feeder from tables: sections, terminals and loads, apart by an empty row. */
import type { FeederDocument, FeederLoad, FeederSection, FeederTerminal, SectionKind } from '../model';
import { LOAD_COLUMNS, SECTION_COLUMNS, TERMINAL_COLUMNS } from './csv-write';
import { checked, type FeederRead } from './read';
import { blocksOfRows, headerOf, numberIn, phasesIn, rowsUnder, type TableRow } from './tables';

export interface FeederCsvOptions {
  readonly id: string;
  /** node from which the feeder is fed; left out: `from` of the first row */
  readonly source?: string;
  readonly phases?: readonly [string, string, string];
}

/**
 * Sections: `id, from, to, phases, kind, vectorGroup, state, changePrior, lengthM, lat, lon`, the first four required. A row of kind
 * `transformer` needs `vectorGroup`; one of kind `switch` has `state` open or closed (empty: closed).
 * Terminals: `id, section, phase, site, reversed`. Loads: `id, section, phases, kw, kvar`.
 * @example readFeederCsv('id,from,to,phases\na,n0,n1,ABC', { id: 'F' }).ok // true
 */
export function readFeederCsv(text: string, options: FeederCsvOptions): FeederRead {
  const problems: string[] = [];
  const sections: TableRow[] = [];
  const terminals: TableRow[] = [];
  const loads: TableRow[] = [];
  for (const block of blocksOfRows(text)) {
    const header = headerOf(block);
    if (header.includes('from')) sections.push(...under(block, 'sections', SECTION_COLUMNS, 4, problems));
    else if (header.includes('kw')) loads.push(...under(block, 'loads', LOAD_COLUMNS, 4, problems));
    else terminals.push(...under(block, 'terminals', TERMINAL_COLUMNS, 3, problems));
  }
  if (sections.length === 0 && problems.length === 0) {
    problems.push(`there is no table of sections; expected a header row such as ${SECTION_COLUMNS.join(',')}`);
  }
  for (const row of sections) problems.push(...strayCells(row));
  const ofKind = (kind: string) => sections.filter((r) => r.cell('kind') === kind);
  const [switches, transformers] = [ofKind('switch'), ofKind('transformer')];
  const plain = sections.filter((r) => !OWN_TABLE.includes(r.cell('kind')));
  const document: FeederDocument = {
    id: options.id,
    ...(options.phases ? { phases: options.phases } : {}),
    source: options.source ?? sections[0]?.cell('from') ?? '',
    sections: plain.map((r) => sectionOf(r, r.cell('kind'), problems)),
    switches: switches.map((r) => ({ ...sectionOf(r, '', problems), closed: isClosed(r, problems) })),
    transformers: transformers.map((r) => ({ ...sectionOf(r, '', problems), vectorGroup: r.cell('vectorGroup') })),
    terminals: terminals.map((r) => terminalOf(r, problems)),
    loads: loads.map((r) => loadOf(r, problems)),
  };
  return checked(document, problems, { sections: plain, switches, transformers, terminals, loads });
}

const OWN_TABLE = ['switch', 'transformer'];

/** What stands in a row whose kind has no use for it: passed over, an open switch would conduct and a winding turn nothing. */
function strayCells({ where, cell }: TableRow): string[] {
  const kind = cell('kind');
  const stray = (column: string, of: string) =>
    cell(column) === '' || kind === of
      ? []
      : [
          `${where} (${cell('id')}): ${column} is ${JSON.stringify(cell(column))} but kind is ${JSON.stringify(kind)}; expected kind ${of}, or no ${column}`,
        ];
  const lacking = (column: string, other: string) =>
    cell(column) === '' && cell(other) !== ''
      ? [`${where} (${cell('id')}): ${other} is given without ${column}; expected both or neither`]
      : [];
  return [
    ...stray('state', 'switch'),
    ...stray('vectorGroup', 'transformer'),
    ...lacking('lat', 'lon'),
    ...lacking('lon', 'lat'),
  ];
}

const under = (
  block: ReturnType<typeof blocksOfRows>[number],
  table: string,
  known: readonly string[],
  needed: number,
  problems: string[],
) => rowsUnder(block, table, { known, needed: known.slice(0, needed) }, problems);

function sectionOf(row: TableRow, kind: string, problems: string[]): FeederSection {
  const { cell } = row;
  const [changePrior, lengthM, lat, lon] = ['changePrior', 'lengthM', 'lat', 'lon'].map((c) =>
    numberIn(row, c, problems),
  );
  return {
    id: cell('id'),
    from: cell('from'),
    to: cell('to'),
    phases: phasesIn(cell('phases')),
    ...(kind === '' ? {} : { kind: kind as SectionKind }),
    ...(changePrior === undefined ? {} : { changePrior }),
    ...(lengthM === undefined ? {} : { lengthM }),
    ...(lat === undefined || lon === undefined ? {} : { position: { lat, lon } }),
  };
}

function isClosed({ where, cell }: TableRow, problems: string[]): boolean {
  const state = cell('state');
  if (!['', 'open', 'closed'].includes(state)) {
    problems.push(`${where}: state is ${JSON.stringify(state)}; expected open or closed`);
  }
  return state !== 'open';
}

function terminalOf({ where, cell }: TableRow, problems: string[]): FeederTerminal {
  const reversed = cell('reversed');
  if (!['', 'yes', 'no'].includes(reversed)) {
    problems.push(`${where}: reversed is ${JSON.stringify(reversed)}; expected yes, no or nothing`);
  }
  return {
    id: cell('id'),
    section: cell('section'),
    phase: cell('phase'),
    ...(cell('site') ? { site: cell('site') } : {}),
    ...(reversed === 'yes' ? { reversed: true } : {}),
  };
}

function loadOf(row: TableRow, problems: string[]): FeederLoad {
  const kvar = numberIn(row, 'kvar', problems);
  if (row.cell('kw') === '')
    problems.push(`${row.where} (${row.cell('id')}): kw is empty; expected kilowatts, e.g. 12.5`);
  return {
    id: row.cell('id'),
    section: row.cell('section'),
    phases: phasesIn(row.cell('phases')),
    kw: numberIn(row, 'kw', problems) ?? 0,
    ...(kvar === undefined ? {} : { kvar }),
  };
}
