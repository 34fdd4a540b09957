/** What the demo's ledger says, with the planted truth beside it: `npm run -s demo:summary`. */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { wrap180 } from '../../lib/angle';
import { parseInstant } from '../../lib/instant';
import type {
  Alert,
  Comparison,
  Identification,
  PhaseloomRecord,
  Plan,
  Reading,
  Rejection,
  Trace,
} from '../../lib/records';
import type { Ledger } from '../../nodes/ledger/ledger';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import { ROOT } from './embedded';
import { short, words } from './narrator';
import { trueOn, truePhase } from './places';
import { OPEN_POINTS, SENT_TWICE } from './planted';
import { SIGNAL_TERMINALS, trueAngleDeg, trueVoltageV } from './signals';

export const USER_DIR = process.env.PHASELOOM_DEMO_DIR ?? join(ROOT, '.demo');
export const LEDGER_FILE = join(USER_DIR, 'phaseloom.sqlite');

/** Where the handoff of the demo flow keeps its deliveries: the desk has deliveries of its own, to the flow. */
export const HANDOFF = 'outside-system';

/** The summary as lines. Only reads. */
export async function summary(ledger: Ledger): Promise<string[]> {
  const found = await all<Identification>(ledger, 'identification');
  const compared = await all<Comparison>(ledger, 'comparison');
  const rejections = await all<Rejection>(ledger, 'rejection');
  const alerts = await ledger.alerts();
  const accepted = await ledger.deliveries({ destination: HANDOFF, state: 'accepted', limit: 10_000 });
  const { readings, deliveriesWaiting } = await ledger.health();
  return [
    'QUILLMERE: what the readings say, and the planted truth beside it',
    '',
    ...terminals(found),
    '',
    ...openPoints(compared),
    '',
    ...traces(await all<Trace>(ledger, 'trace')),
    '',
    ...plans(await all<Plan>(ledger, 'plan')),
    '',
    'SIGNALS: readings of samples and of synchrophasors, and how far the worst one is from the truth',
    ...table([['terminal', 'instrument', 'readings', 'angle off', 'voltage off'], ...(await signals(ledger))]),
    '',
    'REJECTED, kept with the reason',
    ...table(rejections.map((r) => [r.terminal ?? r.source, r.stage, r.problems.map((p) => p.what).join('; ')])),
    '',
    'SENT TWICE, stored once',
    ...table([[SENT_TWICE, await taken(ledger, SENT_TWICE)]]),
    '',
    'ALERTS',
    ...table(alerts.map((a: Alert) => [a.key, a.priority, words(a.state), a.text])),
    '',
    `${readings} readings stored; ${accepted.length} deliveries accepted by the outside system, ${deliveriesWaiting} waiting`,
  ];
}

async function taken(ledger: Ledger, terminal: string): Promise<string> {
  const { records } = await ledger.records({ kinds: ['reading'], subject: terminal, limit: 10_000 });
  const instants = new Set((records as Reading[]).map((r) => r.takenAt));
  return `${records.length} stored, of ${instants.size} different instants`;
}

async function all<R extends PhaseloomRecord>(ledger: Ledger, kind: R['kind']): Promise<R[]> {
  const currentOnly = kind !== 'rejection';
  const { records } = await ledger.records({ kinds: [kind], currentOnly, limit: 10_000 });
  return records as R[];
}

function terminals(found: readonly Identification[]): string[] {
  const rows = [...truePhase].map(([terminal, truth]) => {
    const i = found.find((f) => f.terminal === terminal);
    if (!i) return [terminal, '', '', '', 'not read yet', truth, ''];
    const named = i.phase !== null;
    const remark = named && i.phase !== truth ? 'WRONG' : i.agreesWithRecord === false ? 'the record is wrong' : '';
    const why = named ? remark : words(i.reasons[0]?.code ?? '');
    const chance = named ? percent(i.probability) : '';
    return [terminal, i.recordedPhase ?? '', i.phase ?? '-', chance, words(i.verdict), truth, why];
  });
  const header = ['terminal', 'record', 'found', 'probability', 'verdict', 'truth', ''];
  const [wrong, right] = [rows.filter((r) => r[6] === 'WRONG'), rows.filter((r) => r[2] === r[5])];
  return [
    'TERMINALS',
    ...table([header, ...rows]),
    `  ${right.length} found right, ${wrong.length} wrong, ${rows.length - right.length - wrong.length} not proven or not read`,
  ];
}

function openPoints(compared: readonly Comparison[]): string[] {
  const rows = OPEN_POINTS.map(({ id, truth }) => {
    const c = compared.find((found) => found.openPoint === id);
    const why = c?.verdict === 'not-proven' ? words(c.reasons[0]?.code ?? '') : '';
    return [id, c ? words(c.verdict) : 'not read yet', c?.landing ?? '-', truth, why];
  });
  return ['OPEN POINTS', ...table([['open point', 'verdict', 'landed', 'truth', ''], ...rows])];
}

function traces(found: readonly Trace[]): string[] {
  const labels = found.flatMap((t) =>
    t.corrections.flatMap((c) => c.labels.map((label) => ({ label, cause: c.cause }))),
  );
  const rows = labels.map(({ label, cause }) => [
    label.section,
    label.recorded.join(' '),
    label.phases.join(' '),
    percent(label.probability),
    trueOn.get(label.section) ?? '',
    `${cause.change} at ${cause.section}`,
  ]);
  return [
    'FEEDER TRACE, labels to correct',
    ...(rows.length === 0
      ? ['  none']
      : table([['section', 'record', 'found', 'probability', 'truth', 'most probably'], ...rows])),
    ...found.map(({ feeder, coverage: c, suggestions }) => {
      const next = suggestions.map((s) => s.section).join(', ');
      return `  ${short(feeder)}: ${c.settled} of ${c.sections} sections settled, ${c.measured} of them read; next: ${next || 'nothing'}`;
    }),
  ];
}

function plans(found: readonly Plan[]): string[] {
  const rows = found.flatMap((p) =>
    p.moves.map((m) => [
      String(m.order),
      `${m.what} ${m.id}`,
      m.from.join(' '),
      m.to.join(' '),
      figure(m.unbalance, p),
      m.state,
    ]),
  );
  return [
    'LOAD PLAN',
    ...(rows.length === 0 ? ['  none'] : table([['', 'move', 'from', 'to', 'leaves', 'state'], ...rows])),
    ...found.map(
      (p) =>
        `  ${short(p.feeder)}: before ${figure(p.before, p)}, after ${figure(p.after, p)}, no plan below ${p.bound === null ? 'unknown' : figure(p.bound, p)}`,
    ),
  ];
}

const figure = (x: number, { aim }: Plan): string => `${x.toFixed(2)} ${aim.unit}`;

/** Of each terminal that a recorder or a phasor measurement unit watches: how many readings, and the worst deviations. */
async function signals(ledger: Ledger): Promise<string[][]> {
  return (await signalErrors(ledger)).map(({ terminal, instrument, count, angleDeg, voltagePct }) =>
    count === 0
      ? [terminal, instrument, 'none yet', '', '']
      : [terminal, instrument, String(count), `${angleDeg.toFixed(3)} deg`, `${voltagePct.toFixed(2)} %`],
  );
}

export async function signalErrors(ledger: Ledger) {
  return Promise.all(
    SIGNAL_TERMINALS.map(async ({ terminal, instrument, place, conductor }) => {
      const { records } = await ledger.records({ kinds: ['reading'], subject: terminal, limit: 10_000 });
      const own = (records as Reading[]).filter((r) => r.instrument?.id === instrument);
      const off = own.map((r) => ({
        angleDeg: Math.abs(wrap180(r.angleDeg! - trueAngleDeg(place, conductor, parseInstant(r.takenAt)))),
        voltagePct: 100 * Math.abs(r.voltageV! / trueVoltageV(place, conductor) - 1),
      }));
      const [angleDeg, voltagePct] = [off.map((o) => o.angleDeg), off.map((o) => o.voltagePct)];
      return {
        terminal,
        instrument,
        count: own.length,
        angleDeg: Math.max(...angleDeg),
        voltagePct: Math.max(...voltagePct),
      };
    }),
  );
}

/** 1 would claim more than any reading can. */
const percent = (p: number): string => (p > 0.99999 ? '> 99.999 %' : `${(100 * p).toFixed(3)} %`);

function table(full: readonly (readonly string[])[]): string[] {
  if (full.length === 0) return ['  none'];
  const rows = full.map((row) => row.map(short));
  const widths = rows[0]!.map((_, column) => Math.max(...rows.map((row) => row[column]!.length)));
  return rows.map((row) => `  ${row.map((cell, column) => cell.padEnd(widths[column]!)).join('  ')}`.trimEnd());
}

async function main(): Promise<void> {
  if (!existsSync(LEDGER_FILE)) {
    console.error(`there is no ledger at ${LEDGER_FILE} yet: run npm start first`);
    process.exitCode = 1;
    return;
  }
  const ledger = new SqliteLedger({ file: LEDGER_FILE });
  await ledger.open();
  console.log((await summary(ledger)).join('\n'));
  await ledger.close();
}

if (require.main === module) void main();
