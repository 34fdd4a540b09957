/**
 * A link that lets readings go says how many, by whom and when, and what is left of the links that held them. So the chain can still be
 * followed, and whoever removes a reading otherwise is found out.
 */
import { cellsOfLink, digestOfRows, LINK_COLUMNS, type Link, nextLink, sha256 } from '../chain-link';
import { ask, insertAll, type Row, type Steps } from './question';

/** Of the readings stored with the links from..to what remains has this digest. */
export interface Remnant {
  readonly link: number;
  readonly from_link: number;
  readonly to_link: number;
  readonly remaining: string;
}

export interface LetGoSaid {
  readonly by: string;
  readonly takenBefore: string;
  readonly readings: number;
  /** readings as old that stay since something rests on them */
  readonly held: number;
}

export function* linkLetGo(seqs: readonly number[], said: LetGoSaid, atUs: number): Steps<void> {
  const [head] = (yield* ask('select * from chain_link order by link desc limit 1')) as unknown as [Link];
  const link = head.link + 1;
  const remnants = joined(link, yield* remnantsOf(seqs));
  const statement = JSON.stringify({ ...said, remnants: digestOfRemnants(remnants) });
  const made = nextLink(head, atUs, () => undefined, statement)!;
  const places = LINK_COLUMNS.map((_, i) => `$${i + 1}`).join(', ');
  yield* ask(`insert into chain_link (${LINK_COLUMNS.join(', ')}) values (${places})`, ...cellsOfLink(made));
  yield* insertAll(
    'chain_let_go (link, from_link, to_link, remaining)',
    remnants.map((r) => [r.link, r.from_link, r.to_link, r.remaining]),
  );
}

export const digestOfRemnants = (remnants: readonly Remnant[]): string =>
  sha256(remnants.map((r) => `${r.from_link} ${r.to_link} ${r.remaining}\n`).join(''));

/** What is left of each link that held one of these; readings from before the chain belong to none. */
function* remnantsOf(seqs: readonly number[]): Steps<{ link: number; remaining: string }[]> {
  const remnants: { link: number; remaining: string }[] = [];
  const sorted = seqs.toSorted((a, b) => a - b);
  for (let i = 0; i < sorted.length; ) {
    const [link, before] = (yield* ask(
      `select link, reading_to, 0 as rank from (select link, reading_to from chain_link where reading_to >= $1 order by reading_to, link limit 1) as l
       union all select link, reading_to, 1 from (select link, reading_to from chain_link where reading_to < $1 order by reading_to desc limit 1) as b
       order by rank`,
      sorted[i]!,
    )) as unknown as readonly { link: number; reading_to: number }[];
    if (!link || link.reading_to < sorted[i]!) throw new Error(`no link of the chain covers reading ${sorted[i]}`);
    const upTo = link.reading_to;
    if (before) {
      const rows = yield* ask(
        'select seq, id, body from reading where seq > $1 and seq <= $2 order by seq',
        before.reading_to,
        upTo,
      );
      remnants.push({ link: link.link, remaining: digestOfRows(rows.map(chained)) });
    }
    while (i < sorted.length && sorted[i]! <= upTo) i++;
  }
  return remnants;
}

/** Neighbours of which nothing is left are one row. */
function joined(link: number, remnants: readonly { link: number; remaining: string }[]): Remnant[] {
  const rows: Remnant[] = [];
  for (const { link: at, remaining } of remnants) {
    const last = rows.at(-1);
    if (last && last.to_link === at - 1 && last.remaining === remaining && remaining === '-')
      rows[rows.length - 1] = { ...last, to_link: at };
    else rows.push({ link, from_link: at, to_link: at, remaining });
  }
  return rows;
}

const chained = (row: Row) => ({ seq: Number(row.seq), id: row.id as string, body: row.body as string });
