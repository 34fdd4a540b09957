/** A feeder as tables: sections, terminals and loads, apart by an empty row. */
import type { FeederDocument, FeederSection } from '../model';
import { csvField } from './tables';

export const SECTION_COLUMNS = [
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
export const TERMINAL_COLUMNS = ['id', 'section', 'phase', 'site', 'reversed'] as const;
export const LOAD_COLUMNS = ['id', 'section', 'phases', 'kw', 'kvar'] as const;

/** The tables that `readFeederCsv` reads back. */
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
