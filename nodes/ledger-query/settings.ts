/** What the editor saved, with defaults for what it left out, checked. */
import { Trouble } from '../kit/trouble';
import { WHATS, type What } from '../ledger/question';

export const OUTPUTS = ['array', 'each', 'pages', 'csv', 'geojson', 'parquet'] as const;
export type Output = (typeof OUTPUTS)[number];

export interface QuerySettings {
  readonly ledger?: string;
  readonly what?: string;
  readonly query?: string;
  readonly queryType?: string;
  readonly output?: string;
  readonly limit?: string | number;
  readonly pageSize?: string | number;
}

export interface Settings {
  readonly what: What;
  readonly query: string;
  readonly queryType: string;
  readonly output: Output;
  readonly limit: number;
  readonly pageSize: number;
}

/** @throws Trouble 'config' that says which setting does not work and what would */
export function readSettings(def: QuerySettings): Settings {
  return {
    what: oneOf(def.what ?? 'records', WHATS, 'what is asked for'),
    query: def.query || '{}',
    queryType: def.queryType || 'json',
    output: oneOf(def.output ?? 'array', OUTPUTS, 'the output'),
    limit: whole(def.limit, 10_000, 'the most records'),
    pageSize: whole(def.pageSize, 1000, 'the records a page', 10_000),
  };
}

function oneOf<T extends string>(value: string, allowed: readonly T[], what: string): T {
  if (allowed.includes(value as T)) return value as T;
  throw new Trouble('config', `${what} is ${JSON.stringify(value)}; right would be ${allowed.join(', ')}`);
}

function whole(value: string | number | undefined, otherwise: number, what: string, most = 1e9): number {
  const n = value === undefined || value === '' ? otherwise : Number(value);
  if (Number.isInteger(n) && n >= 1 && n <= most) return n;
  throw new Trouble('config', `${what}: ${JSON.stringify(value)}; right would be a whole number from 1 to ${most}`);
}
