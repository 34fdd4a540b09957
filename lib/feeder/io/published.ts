/**
 * The public distribution test feeders, from their tables of lines, loads and transformers (one row a winding), as model scripts of the
 * IEEE PES feeders give them: phases as node numbers 1, 2, 3.
 */
import type { FeederDocument, FeederSection, FeederSwitch, FeederTransformer } from '../model';
import { CENTRE_TAP } from '../model-windings';
import { behindTaps } from './behind-taps';
import { type AtNodes, type FeederRead, placedAtNodes } from './read';
import { blocksOfRows, numberIn, rowsUnder, type TableRow } from './tables';

export interface PublishedTables {
  readonly lines: string;
  readonly loads: string;
  readonly transformers: string;
}

export interface PublishedOptions {
  readonly id: string;
  /** bus from which the feeder is fed, transformers above it left out; otherwise the first bus of the first transformer */
  readonly source?: string;
}

const METRES: Readonly<Record<string, number>> = { ft: 0.3048, kft: 304.8, mi: 1609.344, km: 1000, m: 1 };
const PHASES = ['A', 'B', 'C'];

/**
 * Banks of single-phase transformers become one transformer. Behind a centre tap the record has the legs 1 and 2: there the phase is that
 * of the transformer's primary, terminals are called `bus/s1` and `bus/s2`, and the second is reversed; elsewhere `bus/A`.
 */
export function readPublished(tables: PublishedTables, { id, source }: PublishedOptions): FeederRead {
  const problems: string[] = [];
  const rows = (table: keyof PublishedTables, needed: readonly string[]) =>
    blocksOfRows(tables[table]).flatMap((b) => rowsUnder(b, table, { needed }, problems));
  const lines = rows('lines', ['name', 'from', 'to', 'phases', 'is_switch', 'open', 'enabled']);
  const banks = banksOf(rows('transformers', ['name', 'winding', 'bus', 'nodes', 'conn', 'enabled']), problems);
  const loads = rows('loads', ['name', 'bus', 'nodes', 'phases', 'conn', 'kw']);
  const secondary = behindTaps(
    banks.filter((b) => b.group === CENTRE_TAP).map((b) => [b.to, b.phases] as const),
    lines.map((r) => ({ from: r.cell('from'), to: r.cell('to') })),
  );
  const head = source ?? banks[0]?.from ?? lines[0]?.cell('from') ?? '';
  const inService = lines.filter((r) => r.cell('enabled') !== 'No');
  const phasesAt = (bus: string, own: string) => secondary.get(bus) ?? PHASES.filter((p) => own.includes(p));
  const line = (r: TableRow) => {
    const metres = (numberIn(r, 'length', problems) ?? 0) * (METRES[r.cell('units')] ?? 0);
    return {
      id: r.cell('name'),
      from: r.cell('from'),
      to: r.cell('to'),
      phases: phasesAt(r.cell('from'), r.cell('phases')),
      ...(metres > 0 ? { lengthM: metres } : {}),
    };
  };
  const isSwitch = (r: TableRow) => r.cell('is_switch') === 'Yes';
  const document: FeederDocument = {
    id,
    source: head,
    sections: merged(
      inService
        .filter((r) => !isSwitch(r))
        .map((r) => ({ ...line(r), kind: secondary.has(r.cell('to')) ? ('service' as const) : ('span' as const) })),
    ),
    switches: inService.filter(isSwitch).map((r): FeederSwitch => ({ ...line(r), closed: r.cell('open') !== '1' })),
    transformers: banks.filter((b) => b.to !== head).map(transformerOf),
  };
  if (problems.length > 0) return { ok: false, problems };
  return placedAtNodes(document, placesOf(loads, secondary, problems));
}

/** Conductors of one run that the table has apart, one phase a row, are one section; its id names them all. */
function merged(sections: readonly FeederSection[]): FeederSection[] {
  const runs = Map.groupBy(sections, (s) => `${s.from} ${s.to}`);
  return [...runs.values()].flatMap((rows) => {
    const phases = rows.flatMap((r) => r.phases);
    if (rows.length === 1 || new Set(phases).size < phases.length) return rows;
    return [{ ...rows[0]!, id: rows.map((r) => r.id).join('+'), phases: PHASES.filter((p) => phases.includes(p)) }];
  });
}

interface Bank {
  readonly id: string;
  readonly from: string;
  readonly to: string;
  readonly phases: string[];
  readonly group: string;
}

const phasesOfNodes = (nodes: string): string[] =>
  nodes === '' ? PHASES : PHASES.filter((_, i) => nodes.split('.').includes(String(i + 1)));

function banksOf(rows: readonly TableRow[], problems: string[]): Bank[] {
  const units = new Map<string, TableRow[]>();
  for (const r of rows) {
    if (r.cell('enabled') === 'No') continue;
    units.set(r.cell('name'), [...(units.get(r.cell('name')) ?? []), r]);
  }
  const banks = new Map<string, Bank>();
  for (const [name, windings] of units) {
    const [first, second] = windings;
    if (!first || !second) {
      problems.push(`${first?.where ?? name}: transformer ${name} has one winding; expected two or three`);
      continue;
    }
    const [from, to] = [first.cell('bus'), second.cell('bus')];
    const known = banks.get(`${from} ${to}`);
    if (known) known.phases.push(...phasesOfNodes(first.cell('nodes')));
    else {
      const phases = [...phasesOfNodes(first.cell('nodes'))];
      banks.set(`${from} ${to}`, { id: first.cell('bank') || name, from, to, phases, group: groupOf(windings) });
    }
  }
  return [...banks.values()];
}

/** The lower voltage lags by 30 degrees across star and delta unless the row says that it leads. */
function groupOf(windings: readonly TableRow[]): string {
  if (windings.length === 3) return CENTRE_TAP;
  const [high, low] = windings.map((w) => w.cell('conn'));
  const clock = windings[0]!.cell('leadlag') === 'Lead' ? 11 : 1;
  if (high === low) return high === 'delta' ? 'Dd0' : 'YNyn0';
  return high === 'delta' ? `Dyn${clock}` : `YNd${clock}`;
}

const transformerOf = ({ id, from, to, phases, group }: Bank): FeederTransformer => ({
  id,
  from,
  to,
  phases: PHASES.filter((p) => phases.includes(p)),
  vectorGroup: group,
});

/** A terminal at each conductor on which a load hangs; loads between two phases are read at neither. */
function placesOf(
  loads: readonly TableRow[],
  secondary: ReadonlyMap<string, readonly string[]>,
  problems: string[],
): AtNodes {
  const terminals = new Map<string, AtNodes['terminals'][number]>();
  const placed = loads.map((r) => {
    const bus = r.cell('bus');
    const leg = secondary.get(bus)?.[0];
    const phases = leg ? [leg] : phasesOfNodes(r.cell('nodes'));
    const reversed = leg !== undefined && r.cell('nodes') === '2';
    if (r.cell('conn') === 'wye') {
      for (const phase of phases) {
        const id = `${bus}/${leg ? (reversed ? 's2' : 's1') : phase}`;
        terminals.set(id, { id, node: bus, phase, site: bus, ...(reversed ? { reversed } : {}) });
      }
    }
    const kvar = numberIn(r, 'kvar', problems);
    const kw = numberIn(r, 'kw', problems) ?? 0;
    return { id: r.cell('name'), node: bus, phases, kw, ...(kvar === undefined ? {} : { kvar }) };
  });
  return { terminals: [...terminals.values()], loads: placed };
}
