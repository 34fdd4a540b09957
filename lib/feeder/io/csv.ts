/** A feeder in tables: sections, terminals and loads, apart by an empty row. */
import type { FeederDocument, FeederLoad, FeederSection, FeederTerminal, SectionKind } from '../model';
import { checked, type FeederRead } from './read';
import { blocksOfRows, csvField, headerOf, numberIn, phasesIn, rowsUnder, type TableRow } from './tables';

const SECTION_COLUMNS = [
  'id',
  'from',
  'to',
  'phases',
  'kind',
  'vectorGroup',
  'state',
  'changePrior',
  'lengthM',
  'lat',
  'lon',
] as const;
const TERMINAL_COLUMNS = ['id', 'section', 'phase', 'site', 'reversed'] as const;
const LOAD_COLUMNS = ['id', 'section', 'phases', 'kw', 'kvar'] as const;

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
  const lines = sections.map((r) => ({ r, kind: r.cell('kind') }));
  const document: FeederDocument = {
    id: options.id,
    ...(options.phases ? { phases: options.phases } : {}),
    source: options.source ?? sections[0]?.cell('from') ?? '',
    sections: lines.filter((l) => !OWN_TABLE.includes(l.kind)).map(({ r, kind }) => sectionOf(r, kind, problems)),
    switches: lines
      .filter((l) => l.kind === 'switch')
      .map(({ r }) => ({ ...sectionOf(r, '', problems), closed: isClosed(r, problems) })),
    transformers: lines
      .filter((l) => l.kind === 'transformer')
      .map(({ r }) => ({ ...sectionOf(r, '', problems), vectorGroup: r.cell('vectorGroup') })),
    terminals: terminals.map((r) => terminalOf(r, problems)),
    loads: loads.map((r) => loadOf(r, problems)),
  };
  return checked(document, problems);
}

const OWN_TABLE = ['switch', 'transformer'];

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
  return {
    id: row.cell('id'),
    section: row.cell('section'),
    phases: phasesIn(row.cell('phases')),
    kw: numberIn(row, 'kw', problems) ?? 0,
    ...(kvar === undefined ? {} : { kvar }),
  };
}

/** The same tables, written; what `readFeederCsv` reads back. */
export function writeFeederCsv({
  sections,
  switches = [],
  transformers = [],
  terminals = [],
  loads = [],
}: FeederDocument): string {
  const line = (s: FeederSection, kind: string, group = '', state = '') => [
    s.id,
    s.from,
    s.to,
    s.phases.join(' '),
    kind,
    group,
    state,
    s.changePrior,
    s.lengthM,
    s.position?.lat,
    s.position?.lon,
  ];
  const tables = [
    [
      SECTION_COLUMNS,
      ...sections.map((s) => line(s, s.kind ?? '')),
      ...switches.map((s) => line(s, 'switch', '', s.closed ? 'closed' : 'open')),
      ...transformers.map((t) => line(t, 'transformer', t.vectorGroup)),
    ],
    [TERMINAL_COLUMNS, ...terminals.map((t) => [t.id, t.section, t.phase, t.site, t.reversed ? 'yes' : ''])],
    [LOAD_COLUMNS, ...loads.map((l) => [l.id, l.section, l.phases.join(' '), l.kw, l.kvar])],
  ];
  return tables
    .filter((t) => t.length > 1)
    .map((t) => t.map((row) => row.map(csvField).join(',')).join('\r\n'))
    .join('\r\n\r\n')
    .concat('\r\n');
}
