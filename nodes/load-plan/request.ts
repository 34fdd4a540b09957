/** What a message may ask of the node, over the node's own settings. */
import { LoadEntrySchema } from '../../lib/loading/document';
import type { LoadEntry } from '../../lib/loading/model';
import type { Aim, ProblemOptions } from '../../lib/loading/problem';
import { problemsAgainst } from '../../lib/validate';
import { type NumberSetting, numberOr, oneOf } from '../kit/config-values';
import { Trouble } from '../kit/trouble';

export const ASKS = ['plan', 'curve', 'loading', 'phase', 'cancel'] as const;
export type Ask = (typeof ASKS)[number];

/** Settings of the node; each may stand in the payload beside `ask` too. */
export interface PlanSettings {
  readonly aim?: string;
  readonly moves?: NumberSetting;
  readonly limit?: NumberSetting;
  readonly price?: NumberSetting;
  readonly measure?: string;
  readonly over?: string;
  /** ids, or a text with commas between */
  readonly watch?: string | readonly string[];
  readonly timeS?: NumberSetting;
  readonly seed?: NumberSetting;
  /** false: no curve is drawn with a plan */
  readonly withCurve?: boolean;
}

export interface Request extends PlanSettings {
  readonly ask: Ask;
  /** a loading document instead of the node's */
  readonly document?: unknown;
  readonly load?: unknown;
}

/** @throws Trouble 'ask-unknown' */
export function requestOf(payload: unknown): Request {
  const ask = (payload as { ask?: unknown } | null | undefined)?.ask;
  if (ASKS.includes(ask as Ask)) return payload as Request;
  throw new Trouble(
    'ask-unknown',
    `msg.payload is neither an identification nor has it a known ask, got ${JSON.stringify(ask) ?? 'none'}; right would be ${ASKS.join(', ')}`,
  );
}

export interface SearchSettings extends ProblemOptions {
  readonly timeS: number;
  readonly seed: number;
  readonly withCurve: boolean;
}

/** @throws Trouble 'config' that names the setting and what would be right */
export function searchSettings(own: PlanSettings, given: PlanSettings = {}): SearchSettings {
  const s = { ...own, ...given };
  const watch = typeof s.watch === 'string' ? s.watch.split(',').map((w) => w.trim()) : [...(s.watch ?? [])];
  const named = watch.filter((w) => w !== '');
  return {
    aim: aimOf(s),
    measure: oneOf('measure', s.measure, ['kW', 'neutral']),
    over: oneOf('over', s.over, ['worst', 'sum']),
    ...(named.length > 0 ? { watch: named } : {}),
    timeS: numberOr(10, 'timeS', s.timeS, { least: 0.2, most: 600 }),
    seed: numberOr(1, 'seed', s.seed, { least: 0, most: 2 ** 32 - 1 }),
    withCurve: s.withCurve !== false,
  };
}

function aimOf(s: PlanSettings): Aim {
  const kind = oneOf('aim', s.aim, ['best', 'limit', 'price']);
  if (kind === 'best') return { kind, moves: numberOr(5, 'moves', s.moves, { least: 0, most: 10_000 }) };
  if (kind === 'limit') return { kind, most: numberOr(10, 'limit', s.limit, { least: 0, most: 1e6 }) };
  return { kind, perCost: numberOr(1, 'price', s.price, { least: 0, most: 1e9 }) };
}

/** @throws Trouble 'load-invalid' */
export function newLoadOf({ load }: Request): LoadEntry {
  const problems = problemsAgainst(LoadEntrySchema, load);
  if (problems.length === 0) return load as LoadEntry;
  const told = problems.map((p) => `msg.payload.load${p.at}: ${p.what}; expected ${p.expected}`);
  throw new Trouble('load-invalid', told.join('; '));
}
