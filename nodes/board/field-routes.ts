/** What the field page asks and gives: the frame and the network to decide with, and readings typed by hand. */
import type { OpenPoint, Site, Terminal } from '../../lib/network';
import type { Problem, Reading, Rejection } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import type { Board } from './board';
import { strictest, type TieRule } from './field/tie-rule';
import { neighbours } from './neighbours';
import type { Asked, Route } from './route';

export const fieldRoutes: readonly Route[] = [
  { method: 'GET', path: 'api/field/pack', answer: pack },
  { method: 'POST', path: 'api/field/readings', answer: readings },
];

/** Readings taken in one request. */
const MOST_AT_ONCE = 200;
const TOPIC = 'board/field';

interface Outcome {
  readonly readings: readonly { readonly reading: Reading; readonly seq: number; readonly isNew: boolean }[];
  readonly rejection: Rejection | undefined;
}

/** The node "readings in" as the board sees it. */
interface Door {
  /** resolves when it is stored, and what was stored or why it was rejected; rejects when it cannot be stored now */
  enter(payload: unknown, topic: string): Promise<Outcome>;
}

/** What became of one reading of a request. */
interface Told {
  readonly stored: boolean;
  readonly id: string | null;
  readonly problems: readonly Problem[];
}

/** All that the page needs to decide by itself, also where there is no network. */
function pack({ board }: Asked) {
  const network = board.network();
  const frame = board.frame();
  if (!network) throw new Trouble('config', 'no network is chosen for this board: it says where readings are taken');
  if (!frame) throw new Trouble('config', 'no frame is chosen for this board: it says what an angle means');
  const { id, name, terminals, sites, openPoints } = network;
  const list = <T extends Terminal | Site | OpenPoint>(map: ReadonlyMap<string, T>) => [...map.values()];
  const document = {
    id,
    ...(name === undefined ? {} : { name }),
    terminals: list(terminals),
    sites: list(sites),
    openPoints: list(openPoints),
  };
  const canEnter = doorOf(board) !== undefined;
  return { body: { frame, network: document, tieRule: tieRuleOf(board), nowMs: Date.now(), canEnter } };
}

/** The node "tie check" as the board sees it. */
interface TieCheck {
  readonly tieRule: TieRule & { readonly network: string | undefined };
}

/** What the tie checks on the board's ledger and network ask. */
function tieRuleOf(board: Board): TieRule {
  const checks = neighbours<TieCheck>(board, 'phaseloom-tie-check', 'tieRule').map((n) => n.tieRule);
  return strictest(checks.filter(({ network }) => network === board.settings.network));
}

/** The readings one by one, so that each is told whether it was stored or what is wrong with it. */
async function readings({ board, body }: Asked) {
  const given = (body as { readings?: unknown } | null)?.readings;
  if (!Array.isArray(given) || given.length === 0 || given.length > MOST_AT_ONCE) {
    throw new Trouble('body-unusable', `the body must be {"readings": [...]} with 1 to ${MOST_AT_ONCE} readings`);
  }
  const door = doorOf(board);
  if (!door) {
    throw new Trouble(
      'config',
      'no node "readings in" works with the same ledger node as this board: readings typed by hand go through it',
    );
  }
  const outcomes = await Promise.all(given.map((reading) => door.enter(asReading(reading), TOPIC)));
  return { body: { outcomes: outcomes.map(told) } };
}

/** Typed readings are in our own form: a mapping for the payloads of instruments does not concern them. */
const asReading = (value: unknown): unknown =>
  value !== null && typeof value === 'object' && !Array.isArray(value) ? { ...value, kind: 'reading' } : value;

function told({ readings, rejection }: Outcome): Told {
  return {
    stored: readings.length > 0,
    id: readings[0]?.reading.id ?? null,
    problems: rejection?.problems ?? [],
  };
}

/** The front door on the board's ledger; one that knows the same network goes first. */
function doorOf({ RED, settings }: Board): Door | undefined {
  const found: { readonly door: Door; readonly isSame: boolean }[] = [];
  RED.nodes.eachNode((def) => {
    const { ledger, network } = def as { ledger?: string; network?: string };
    if (def.type !== 'phaseloom-readings-in' || ledger !== settings.ledger) return;
    const door = RED.nodes.getNode(def.id) as unknown as Door | null;
    if (door && typeof door.enter === 'function') found.push({ door, isSame: network === settings.network });
  });
  return (found.find((f) => f.isSame) ?? found[0])?.door;
}
