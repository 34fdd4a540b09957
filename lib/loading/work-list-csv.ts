/** The work list of a plan as comma-separated values after RFC 4180. */
import { spreadsheetField } from '../csv';
import type { Plan } from '../records';

const HEAD = [
  'order',
  'what',
  'id',
  'section',
  'from',
  'to',
  'cost',
  'unbalance after',
  'unit',
  'rotation check',
  'from known by',
  'state',
  'terminals',
  'cautions',
];

/** One row for each move, then one for each load of unknown phase; the caution of the plan stands in the last row. Cells that a spreadsheet would run begin with an apostrophe. */
export function workListCsv(plan: Plan): string {
  const rows = plan.moves.map((m) => [
    m.order,
    m.what,
    m.id,
    m.section,
    m.from.join(' '),
    m.to.join(' '),
    m.cost,
    m.unbalance,
    plan.aim.unit,
    m.rotationCheck ? 'yes' : 'no',
    m.knownBy ?? '',
    m.state,
    m.terminals.join(' '),
    m.cautions.join(' '),
  ]);
  const undecided = (plan.undecided.list ?? []).map((l) => [
    '',
    'load of unknown phase',
    l.id,
    l.section,
    ...Array<string>(7).fill(''),
    'undecided',
    l.terminals.join(' '),
    `Up to ${l.kW} kW on a phase that nobody knows: in none of the figures. Read it first.`,
  ]);
  const note = [...HEAD.slice(1).map(() => ''), plan.caution ?? ''];
  return [HEAD, ...rows, ...undecided, note].map((row) => `${row.map(spreadsheetField).join(',')}\r\n`).join('');
}
