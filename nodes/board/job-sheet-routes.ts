/** What a job sheet shows of one visit: the readings taken at a place in a time, with what was concluded from them. */
import { fitness } from '../../lib/fitness';
import { type Frame, stampOf } from '../../lib/frame';
import { parseInstant } from '../../lib/instant';
import type { Network, OpenPoint, Site } from '../../lib/network';
import type { Comparison, Finding, Identification, Kind, Reading, Rotation } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import type { Ledger, RecordQuery } from '../ledger/ledger';
import { type Asked, parameter, type Route } from './route';

export const jobSheetRoutes: readonly Route[] = [{ method: 'GET', path: 'api/job-sheet', answer: sheet }];

/** Readings of one terminal on a sheet, the newest. */
const MOST_OF_TERMINAL = 20;
const PAGE = 1000;

interface Span {
  readonly fromUs: number;
  readonly toUs: number;
}

/** What belongs to the place. */
interface Extent {
  readonly site: Site | undefined;
  readonly points: readonly OpenPoint[];
  /** of the place itself, then its common conductors */
  readonly terminals: readonly string[];
  readonly common: readonly string[];
  readonly sites: readonly string[];
}

async function sheet({ board, query }: Asked) {
  const network = board.network();
  const frame = board.frame();
  if (!network || !frame) {
    throw new Trouble('config', 'no network or no frame is chosen for this board: a job sheet needs both');
  }
  const id = parameter(query, 'place');
  const span = { fromUs: instantUs(query, 'from'), toUs: instantUs(query, 'to') };
  const extent = extentOf(network, id);
  const ledger = await board.ledger();
  const job = query.get('job') ?? '';
  const { records: shown, hasMore } = await readings(ledger, [...extent.terminals, ...extent.common], span, job);
  const found = await findings(ledger, extent, span, new Set(shown.map((r) => r.id)));
  const references = frame.references.filter((r) => found.identifications.some((i) => i.reference === r.id));
  return {
    body: {
      place: { id, name: extent.site?.name ?? extent.points.find((p) => p.id === id)?.name ?? id, ...placed(extent) },
      network: network.name ?? network.id,
      from: parameter(query, 'from'),
      to: parameter(query, 'to'),
      job,
      frame: { ...stampOf(frame), phases: frame.phases, sense: frame.sense, nominalHz: frame.nominalHz },
      references: references.length > 0 ? references : frame.references,
      terminals: extent.terminals.map((t) => ({ id: t, recorded: network.terminals.get(t)?.recordedPhase ?? null })),
      readings: shown.map((reading) => ({ reading, fitness: judged(reading, frame, network) })),
      hasMore,
      ...found,
    },
  };
}

const placed = ({ site, points }: Extent) => ({
  viewing: site?.viewing ?? null,
  position: site?.position ?? null,
  openPoints: points.map(({ id, left, right, proofTerminal }) => ({ id, left, right, common: proofTerminal ?? null })),
});

function judged(reading: Reading, frame: Frame, { terminals }: Network) {
  const { grade, uses, reasons } = fitness(reading, { frame, terminal: terminals.get(reading.terminal) });
  return { grade, uses, reasons };
}

function extentOf({ id: name, sites, openPoints, openPointsOf, siteOf }: Network, id: string): Extent {
  const site = sites.get(id);
  const point = openPoints.get(id);
  if (!site && !point) throw new Trouble('not-found', `the network ${name} has no site or open point ${id}`);
  const points = point ? [point] : [...new Set(site!.terminals.flatMap((t) => openPointsOf.get(t) ?? []))];
  const terminals = point ? [...point.left, ...point.right] : site!.terminals;
  const common = points.flatMap((p) => p.proofTerminal ?? []).filter((t) => !terminals.includes(t));
  const concerned = terminals.flatMap((t) => siteOf.get(t)?.id ?? []);
  return { site, points, terminals, common: [...new Set(common)], sites: [...new Set(concerned)] };
}

/** @throws Trouble that says what would be right */
function instantUs(query: URLSearchParams, name: string): number {
  const text = parameter(query, name);
  const us = parseInstant(text);
  if (!Number.isNaN(us)) return us;
  throw new Trouble(
    'parameter-unusable',
    `${name} is ${JSON.stringify(text)}; right would be an instant such as 2026-05-04T10:15:30Z`,
  );
}

async function readings(ledger: Ledger, terminals: readonly string[], span: Span, job: string) {
  const pages = await Promise.all(terminals.map((t) => readingsOf(ledger, t, span, job)));
  return {
    records: pages.flatMap((found) => found.slice(0, MOST_OF_TERMINAL).reverse()),
    hasMore: pages.some((found) => found.length > MOST_OF_TERMINAL),
  };
}

/** Newest first, of one work order where one is named; looked through until there is one too many for the sheet. */
async function readingsOf(ledger: Ledger, terminal: string, span: Span, job: string): Promise<readonly Reading[]> {
  const found: Reading[] = [];
  let after: string | undefined;
  do {
    const page = await newest(ledger, 'reading', terminal, span, job === '' ? MOST_OF_TERMINAL + 1 : PAGE, after);
    found.push(...(page.records as readonly Reading[]).filter((r) => job === '' || r.job === job));
    after = page.next;
  } while (after !== undefined && found.length <= MOST_OF_TERMINAL);
  return found;
}

/** Findings of one subject looked through for one that rests on the readings of the sheet. */
const MOST_OF_SUBJECT = 50;

/** The last finding of each subject in the time that rests on a reading of the sheet: what another visit found does not belong here. */
async function findings(ledger: Ledger, { terminals, sites, points }: Extent, span: Span, shown: ReadonlySet<string>) {
  const last = async <T extends Finding>(kind: T['kind'], subjects: readonly string[]) => {
    const pages = await Promise.all(subjects.map((subject) => newest(ledger, kind, subject, span, MOST_OF_SUBJECT)));
    return pages.flatMap((page) => (page.records as T[]).find((f) => f.from.some((id) => shown.has(id))) ?? []);
  };
  const [identifications, rotations, comparisons] = await Promise.all([
    last<Identification>('identification', terminals),
    last<Rotation>('rotation', sites),
    last<Comparison>(
      'comparison',
      points.map((p) => p.id),
    ),
  ]);
  return { identifications, rotations, comparisons };
}

function newest(ledger: Ledger, kind: Kind, subject: string, span: Span, limit: number, after?: string) {
  const query: RecordQuery = { kinds: [kind], subject, ...span, order: 'newest-first', limit };
  return ledger.records(after === undefined ? query : { ...query, after });
}
