/** Where a page of records ended, as a text that callers keep and give back. */
import { Trouble } from '../kit/trouble';

export interface PageKey {
  readonly atUs: number;
  /** of the table among those of the query */
  readonly rank: number;
  readonly seq: number;
}

export const writePageKey = ({ atUs, rank, seq }: PageKey): string =>
  Buffer.from(`${atUs}.${rank}.${seq}`).toString('base64url');

export function readPageKey(text: string): PageKey {
  const parts = /^(-?\d+)\.(\d)\.(\d+)$/.exec(Buffer.from(text, 'base64url').toString());
  const [atUs, rank, seq] = (parts ?? []).slice(1).map(Number);
  if (!Number.isSafeInteger(atUs) || !Number.isSafeInteger(seq)) {
    throw new Trouble(
      'query-unusable',
      `query.after is ${JSON.stringify(text.slice(0, 200))}; right would be what the page before gave as next`,
    );
  }
  return { atUs: atUs!, rank: rank!, seq: seq! };
}
