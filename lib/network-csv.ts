/** A network from the tables that people keep in spreadsheets: one of terminals, one of open points. */
import type { NetworkDocument, OpenPoint, Site, Terminal, Viewing } from './network';
import {
  type Column,
  type Entry,
  positive,
  type Table,
  TERMINAL_COLUMNS,
  tablesOf,
  within,
  word,
} from './network-tables';
import type { Connection } from './records';

export type NetworkCsvRead =
  | { readonly ok: true; readonly document: NetworkDocument }
  | { readonly ok: false; readonly problems: readonly string[] };

const CONNECTIONS: readonly string[] = [
  'phase-neutral',
  'phase-neutral-reversed',
  'phase-phase',
  'phase-phase-reversed',
] satisfies Connection[];
const VIEWINGS: readonly string[] = [
  'left-to-right',
  'road-to-field',
  'top-to-bottom',
  'near-to-far',
] satisfies Viewing[];

/** Written in `path` where no transformer stands between the reference's level and the terminal. */
const NO_TRANSFORMER = 'none';

/**
 * Terminals: `id, site, position, viewing, recordedPhase, connection, nominalV, path, lat, lon`, only `id` required. `position` is the place in
 * viewing order; without it the order of the rows counts. `lat` and `lon` are degrees (WGS 84) and place the site. `path` holds vector groups with blanks between, or `none`.
 * Open points, in the same text after an empty row or in a text of their own: `openPoint, left, right, toleranceDeg, proofTerminal`, one
 * row for each pair of facing terminals.
 * @example readNetworkCsv({ text: 'id,site\na/1,a\na/2,a' }).document.sites[0].terminals // ['a/1', 'a/2']
 */
export function readNetworkCsv(texts: {
  readonly text: string;
  readonly openPoints?: string;
  readonly id?: string;
}): NetworkCsvRead {
  const problems: string[] = [];
  const tables = [
    ...tablesOf(texts.text, '', problems),
    ...tablesOf(texts.openPoints ?? '', 'open points, ', problems),
  ];
  return networkOfTables(tables, texts.id, problems);
}

/** The document that tables say, however they were written. @param problems those found so far; what is found is added */
export function networkOfTables(tables: readonly Table[], id: string | undefined, problems: string[]): NetworkCsvRead {
  const rows = tables.filter((t) => t.kind === 'terminals').flatMap((t) => t.entries);
  const pairs = tables.filter((t) => t.kind === 'openPoints').flatMap((t) => t.entries);
  if (rows.length === 0) {
    problems.push(`there is no table of terminals; expected a header row such as ${TERMINAL_COLUMNS.join(',')}`);
  }
  const terminals = rows.map((e) => terminalOf(e, problems));
  const sites = sitesOf(rows, problems);
  const openPoints = openPointsOf(pairs, problems);
  if (problems.length > 0) return { ok: false, problems };
  return { ok: true, document: { id: id ?? 'network', terminals, sites, openPoints } };
}

function terminalOf({ where, cell }: Entry, problems: string[]): Terminal {
  const id = cell('id');
  if (id === '') problems.push(`${where}: id is empty; expected the id of a terminal, e.g. hollin-bank/F3/S118/2`);
  const connection = word(where, 'connection', cell('connection'), CONNECTIONS, problems);
  const nominalV = positive(where, 'nominalV', cell('nominalV'), problems);
  const path = cell('path');
  return {
    id,
    ...(cell('site') ? { site: cell('site') } : {}),
    ...(cell('recordedPhase') ? { recordedPhase: cell('recordedPhase') } : {}),
    ...(connection ? { connection: connection as Connection } : {}),
    ...(nominalV === undefined ? {} : { nominalV }),
    ...(path === '' ? {} : { path: path === NO_TRANSFORMER ? [] : path.split(/\s+/) }),
  };
}

function sitesOf(rows: readonly Entry[], problems: string[]): Site[] {
  const bySite = new Map<string, Entry[]>();
  for (const row of rows) {
    const site = row.cell('site');
    if (site !== '') bySite.set(site, [...(bySite.get(site) ?? []), row]);
  }
  return [...bySite].map(([id, members]) => {
    const viewings = new Set(members.map((m) => word(m.where, 'viewing', m.cell('viewing'), VIEWINGS, problems)));
    viewings.delete('');
    if (viewings.size > 1) {
      problems.push(
        `site ${id}: viewing is said to be ${[...viewings].join(' and ')}; expected one for the whole site`,
      );
    }
    const [viewing = 'left-to-right'] = viewings;
    const terminals = inOrder(id, members, problems);
    return { id, terminals, viewing: viewing as Viewing, ...placeOf(members, problems) };
  });
}

/** Where a site stands: the first of its rows that says so. */
function placeOf(members: readonly Entry[], problems: string[]): Pick<Site, 'position'> {
  const places = members.map((m) => {
    const lat = within(m.where, 'lat', m.cell('lat'), -90, 90, problems);
    const lon = within(m.where, 'lon', m.cell('lon'), -180, 180, problems);
    if ((m.cell('lat') === '') !== (m.cell('lon') === '')) {
      problems.push(`${m.where}: only one of lat and lon is given; expected both or neither`);
    }
    return lat === undefined || lon === undefined ? undefined : { lat, lon };
  });
  const position = places.find((p) => p !== undefined);
  return position ? { position } : {};
}

function inOrder(site: string, members: readonly Entry[], problems: string[]): string[] {
  const placed = members.map((m) => ({
    id: m.cell('id'),
    position: positive(m.where, 'position', m.cell('position'), problems),
  }));
  const stated = placed.filter((p) => p.position !== undefined);
  if (stated.length === 0) return placed.map((p) => p.id);
  if (stated.length < placed.length || new Set(stated.map((p) => p.position)).size < placed.length) {
    const got = placed.map((p) => `${p.id} ${p.position ?? 'none'}`).join(', ');
    problems.push(`site ${site}: positions are ${got}; expected a different number for every terminal, or none at all`);
  }
  return placed.sort((a, b) => (a.position ?? 0) - (b.position ?? 0)).map((p) => p.id);
}

function openPointsOf(pairs: readonly Entry[], problems: string[]): OpenPoint[] {
  const byPoint = new Map<string, Entry[]>();
  for (const pair of pairs) {
    const id = pair.cell('openPoint');
    const lacking = (['openPoint', 'left', 'right'] as const).filter((c) => pair.cell(c) === '');
    if (lacking.length > 0)
      problems.push(`${pair.where}: ${lacking.join(' and ')} missing; expected openPoint, left and right`);
    byPoint.set(id, [...(byPoint.get(id) ?? []), pair]);
  }
  return [...byPoint].map(([id, members]) => {
    const tolerance = firstStated(members, 'toleranceDeg');
    const toleranceDeg =
      tolerance && positive(tolerance.where, 'toleranceDeg', tolerance.cell('toleranceDeg'), problems);
    const proofTerminal = firstStated(members, 'proofTerminal')?.cell('proofTerminal');
    return {
      id,
      left: members.map((m) => m.cell('left')),
      right: members.map((m) => m.cell('right')),
      ...(toleranceDeg === undefined ? {} : { toleranceDeg }),
      ...(proofTerminal === undefined ? {} : { proofTerminal }),
    };
  });
}

const firstStated = (members: readonly Entry[], column: Column): Entry | undefined =>
  members.find((m) => m.cell(column) !== '');
