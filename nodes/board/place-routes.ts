/** The places: what the records say about them, and what the findings that hold now say. */
import { fitness } from '../../lib/fitness';
import { type Frame, makeFrame } from '../../lib/frame';
import type { Network, OpenPoint, Site } from '../../lib/network';
import type { Comparison, Identification, PhaseloomRecord, Reading, Rotation } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import type { Ledger } from '../ledger/ledger';
import { type Asked, parameter, type Route } from './route';

export const placeRoutes: readonly Route[] = [
  { method: 'GET', path: 'api/network', answer: network },
  { method: 'GET', path: 'api/site', answer: site },
];

type Current = Identification | Rotation | Comparison;
const PAGE = 10_000;

function networkOf(found: Network | undefined): Network {
  if (found) return found;
  throw new Trouble('config', 'no network is chosen for this board: it says which sites and open points there are');
}

/** All sites and open points with the phases that hold now. */
async function network({ board }: Asked) {
  const { id, name, sites, openPoints, terminals } = networkOf(board.network());
  const said = bySubject(await current(await board.ledger(), ['identification', 'comparison']));
  const terminal = (t: string) => {
    const found = said.get(`identification ${t}`) as Identification | undefined;
    const recorded = terminals.get(t)?.recordedPhase ?? null;
    return { id: t, recorded, phase: found?.phase ?? null, verdict: found?.verdict ?? null };
  };
  const shown = [...sites.values()].map((s) => ({ ...s, terminals: s.terminals.map(terminal) }));
  const points = [...openPoints.values()].map((p) => ({
    ...p,
    verdict: (said.get(`comparison ${p.id}`) as Comparison | undefined)?.verdict ?? null,
  }));
  const phases = board.frame()?.phases ?? makeFrame().phases;
  return { body: { id, name: name ?? id, phases, sites: shown, openPoints: points } };
}

/** One site: its conductors with their last readings, its rotation, and the open points it has a side of. */
async function site({ board, query }: Asked) {
  const found = networkOf(board.network());
  const id = parameter(query, 'id');
  const place = found.sites.get(id);
  if (!place) throw new Trouble('not-found', `the network ${found.id} has no site ${id}`);
  const ledger = await board.ledger();
  const points = pointsOf(found, place);
  const terminals = [...new Set([...place.terminals, ...points.flatMap((p) => [...p.left, ...p.right])])];
  const [said, readings] = await Promise.all([
    saidOf(ledger, place, points, terminals),
    ledger.latestReadings(terminals, 1),
  ]);
  const last = new Map(readings.map(({ reading }) => [reading.terminal, reading]));
  const frame = board.frame();
  const conductor = (t: string) => ({
    id: t,
    recorded: found.terminals.get(t)?.recordedPhase ?? null,
    identification: said.get(`identification ${t}`) ?? null,
    ...read(last.get(t), frame, found, t),
  });
  const openPoints = points.map((p) => ({
    ...p,
    left: p.left.map(conductor),
    right: p.right.map(conductor),
    comparison: said.get(`comparison ${p.id}`) ?? null,
  }));
  const rotation = said.get(`rotation ${id}`) ?? null;
  const phases = (frame ?? makeFrame()).phases;
  const sense = (frame ?? makeFrame()).sense;
  return { body: { ...place, phases, sense, terminals: place.terminals.map(conductor), rotation, openPoints } };
}

/** Without a frame nobody can say what a reading may be used for. Age is not judged here: the page shows it. */
function read(reading: Reading | undefined, frame: Frame | undefined, { terminals }: Network, id: string) {
  if (!reading || !frame) return { reading: reading ?? null, fitness: null };
  const { grade, uses, reasons } = fitness(reading, { frame, terminal: terminals.get(id) });
  return { reading, fitness: { grade, uses, reasons } };
}

function pointsOf({ openPointsOf }: Network, { terminals }: Site): OpenPoint[] {
  return [...new Set(terminals.flatMap((t) => openPointsOf.get(t) ?? []))];
}

async function saidOf(ledger: Ledger, place: Site, points: readonly OpenPoint[], terminals: readonly string[]) {
  const asked = [
    ...terminals.map((subject) => ({ kinds: ['identification'] as const, subject })),
    ...points.map(({ id: subject }) => ({ kinds: ['comparison'] as const, subject })),
    { kinds: ['rotation'] as const, subject: place.id },
  ];
  const pages = await Promise.all(asked.map((query) => ledger.records({ ...query, currentOnly: true })));
  return bySubject(pages.flatMap((page) => page.records));
}

async function current(ledger: Ledger, kinds: readonly Current['kind'][]): Promise<PhaseloomRecord[]> {
  const records: PhaseloomRecord[] = [];
  let after: string | undefined;
  do {
    const page = await ledger.records({ kinds, currentOnly: true, limit: PAGE, ...(after ? { after } : {}) });
    records.push(...page.records);
    after = page.next;
  } while (after);
  return records;
}

function bySubject(records: readonly PhaseloomRecord[]): ReadonlyMap<string, Current> {
  return new Map((records as readonly Current[]).map((r) => [`${r.kind} ${subjectOf(r)}`, r]));
}

const subjectOf = (r: Current): string =>
  r.kind === 'identification' ? r.terminal : r.kind === 'rotation' ? r.site : r.openPoint;
