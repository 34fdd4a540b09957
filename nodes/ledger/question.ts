/** What is asked of the ledger, in people's words, checked. A word that is not known is an error: a mistyped filter would give everything. */
import { parseInstant } from '../../lib/instant';
import { type Alert, type Kind, type PhaseloomRecord, schemas } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import type { KnownLink, RecordQuery } from './ledger';

export const WHATS = ['records', 'current-findings', 'open-alerts', 'count', 'verify', 'replay'] as const;
export type What = (typeof WHATS)[number];

export interface Question {
  readonly query: RecordQuery;
  /** how many records in all */
  readonly limit: number;
  /** records that the query gives and the question does not want */
  readonly wants?: (record: PhaseloomRecord) => boolean;
  /** of a replay */
  readonly order?: { readonly by: string; readonly why: string };
  /** to be found in the chain */
  readonly known?: KnownLink;
}

const KINDS = Object.keys(schemas) as Kind[];
const FINDINGS = KINDS.filter((kind) => !['reading', 'rejection', 'alert'].includes(kind));
const ORDERS = ['oldest-first', 'newest-first'];

type Check = (value: unknown, name: string) => Partial<RecordQuery> & { limit?: number };

const CHECKS: Readonly<Record<string, Check>> = {
  kinds: (v) => ({ kinds: list(v, 'kinds').map((kind) => oneOf(kind, 'kinds', KINDS) as Kind) }),
  ids: (v) => ({ ids: list(v, 'ids') }),
  subject: (v, name) => ({ subject: text(v, name) }),
  instrument: (v, name) => ({ instrument: text(v, name) }),
  by: (v, name) => ({ by: text(v, name) }),
  from: (v, name) => ({ fromUs: instantUs(v, name) }),
  to: (v, name) => ({ toUs: instantUs(v, name) }),
  currentOnly: (v, name) => ({ currentOnly: oneOf(v, name, [true, false]) as boolean }),
  order: (v, name) => ({ order: oneOf(v, name, ORDERS) as 'oldest-first' | 'newest-first' }),
  after: (v, name) => ({ after: text(v, name) }),
  limit: (v, name) => ({ limit: count(v, name) }),
};

/** @throws Trouble 'query-unusable' that says what is wrong, where, and what would be right */
export function readQuestion(what: What, asked: unknown, limit: number): Question {
  if (asked === null || typeof asked !== 'object' || Array.isArray(asked)) {
    throw unusable(
      'the query',
      asked,
      'an object such as { "subject": "hollin-bank/F3/", "from": "2026-05-04T00:00:00Z" }',
    );
  }
  if (what === 'verify') return { query: {}, limit, ...known(asked as Record<string, unknown>) };
  if (what === 'replay') return replay(asked as Record<string, unknown>, limit);
  const read = Object.entries(asked).map(([name, value]) => {
    const check = Object.hasOwn(CHECKS, name) ? CHECKS[name] : undefined;
    if (!check)
      throw new Trouble('query-unusable', `query.${name} is not known; known are ${Object.keys(CHECKS).join(', ')}`);
    return value === undefined ? {} : check(value, name);
  });
  const { limit: ownLimit, ...query } = Object.assign({}, ...read) as RecordQuery & { limit?: number };
  return { limit: ownLimit ?? limit, ...narrowed(what, query) };
}

const REPLAY_FILTERS = ['subject', 'instrument', 'from', 'to'];

/** Here `by` is who orders it, and who and why must be said. */
function replay({ by, why, ...filters }: Record<string, unknown>, limit: number): Question {
  const unknown = Object.keys(filters).find((name) => !REPLAY_FILTERS.includes(name));
  if (unknown !== undefined) {
    const right = ['by', 'why', ...REPLAY_FILTERS].join(', ');
    throw new Trouble('query-unusable', `query.${unknown} is not known; for replay known are ${right}`);
  }
  const order = { by: text(by, 'by').slice(0, 200), why: text(why, 'why').slice(0, 2000) };
  return { ...readQuestion('records', filters, limit), order };
}

function known(asked: Record<string, unknown>): { known?: KnownLink } {
  const unknown = Object.keys(asked).find((name) => name !== 'link' && name !== 'digest');
  if (unknown !== undefined)
    throw new Trouble('query-unusable', `query.${unknown} is not known; for verify known are link and digest`);
  const { link, digest } = asked;
  if (link === undefined && digest === undefined) return {};
  if (!Number.isSafeInteger(link) || (link as number) < 1) throw unusable('query.link', link, 'a whole number above 0');
  return { known: { link: link as number, digest: text(digest, 'digest') } };
}

function narrowed(what: What, query: RecordQuery): Omit<Question, 'limit'> {
  if (what === 'current-findings') return { query: { kinds: FINDINGS, ...query, currentOnly: true } };
  if (what === 'open-alerts') {
    return { query: { ...query, kinds: ['alert'], currentOnly: true }, wants: (r) => (r as Alert).state !== 'normal' };
  }
  return { query };
}

function list(value: unknown, name: string): string[] {
  const items = Array.isArray(value) ? value : [value];
  return items.map((item) => text(item, name));
}

function text(value: unknown, name: string): string {
  if (typeof value === 'string' && value !== '') return value;
  throw unusable(`query.${name}`, value, 'a text');
}

function oneOf(value: unknown, name: string, allowed: readonly unknown[]): unknown {
  if (allowed.includes(value)) return value;
  throw unusable(`query.${name}`, value, allowed.join(' or '));
}

function count(value: unknown, name: string): number {
  if (Number.isInteger(value) && (value as number) > 0) return value as number;
  throw unusable(`query.${name}`, value, 'a whole number above 0');
}

/** An RFC 3339 instant, or milliseconds since 1970 as JavaScript and Node-RED write times. */
function instantUs(value: unknown, name: string): number {
  const us =
    typeof value === 'string'
      ? parseInstant(value)
      : Math.round((value instanceof Date ? value.getTime() : typeof value === 'number' ? value : Number.NaN) * 1000);
  if (Number.isSafeInteger(us)) return us;
  throw unusable(`query.${name}`, value, 'an instant such as 2026-05-04T10:15:30Z, or milliseconds since 1970');
}

const unusable = (where: string, value: unknown, right: string) =>
  new Trouble('query-unusable', `${where} is ${shown(value)}; right would be ${right}`);

/** What comes from a function node may be nothing that JSON can write. */
function shown(value: unknown): string {
  try {
    return (JSON.stringify(value) ?? (value === undefined ? 'missing' : typeof value)).slice(0, 500);
  } catch {
    return `a ${typeof value} that JSON cannot write`;
  }
}
