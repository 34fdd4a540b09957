/** Findings: what was concluded. Every one stays; of each kind and subject one holds. */
import { parseInstant } from '../../../lib/instant';
import type { Finding } from '../../../lib/records';
import { aboutOf, subjectOf } from '../subject';
import { type Client, columnsOf, storable } from './connection';
import { type KnownFinding, Standing } from './standing';
import { type StoredRow, storedRows } from './stored-row';
import type { Store } from './write';

/** As store of a ledger with this clock. */
export const storeFindings =
  (nowUs: () => number): Store<Finding, { readonly isNew: boolean }> =>
  async (client, findings, stored) => {
    const abouts = findings.map((finding) => storable(aboutOf(finding)));
    const standing = new Standing(await knownFindings(client, findings, abouts));
    const answers = findings.map((finding, i) => ({ isNew: standing.keep(finding, abouts[i]!) }));
    // First those that lose their place: of each kind and subject never two hold.
    const changed = standing.changed();
    await supersede(
      client,
      changed.filter((c) => c.supersededBy !== null),
      nowUs(),
    );
    const rows = await insert(client, standing.fresh(), nowUs());
    await restore(
      client,
      changed.filter((c) => c.supersededBy === null),
    );
    const byId = new Map(rows.map((row) => [row.id, row]));
    for (const [i, { isNew }] of answers.entries()) if (isNew) stored[i]!.push(byId.get(findings[i]!.id)!);
    return answers;
  };

async function knownFindings(client: Client, findings: readonly Finding[], abouts: readonly string[]) {
  const { rows } = await client.query<KnownFinding>(
    `select f.id, f.kind, f.about, f.at_us, f.frame_revision, f.superseded_by
     from (select distinct k, a from unnest($1::text[], $2::text[]) as t (k, a)) as t
     join finding as f on f.kind = t.k and f.about = t.a and f.superseded_by is null
     union select id, kind, about, at_us, frame_revision, superseded_by from finding where id = any($3::text[])`,
    [findings.map((f) => f.kind), abouts, findings.map((f) => f.id)],
  );
  return rows;
}

type Fresh = ReturnType<Standing['fresh']>;
type Changed = ReturnType<Standing['changed']>;

async function insert(client: Client, fresh: Fresh, nowUs: number): Promise<StoredRow[]> {
  if (fresh.length === 0) return [];
  const given = fresh.map((f) => ({ ...f, record: f.finding, body: JSON.stringify(f.finding) }));
  const sources = fresh.flatMap(({ finding }) => [...new Set(finding.from)].map((source) => [finding.id, source]));
  const { rows } = await client.query<{ id: string; seq: number }>(
    `with f as (insert into finding (id, kind, subject, about, at_us, stored_at_us, verdict, frame_id, frame_revision, superseded_by,
         superseded_at_us, body)
       select a, b, c, d, e, $13, f, g, h, i, case when i is not null then $13::bigint end, j::json
       from unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::bigint[], $6::text[], $7::text[], $8::text[], $9::text[], $10::text[])
         with ordinality as t (a, b, c, d, e, f, g, h, i, j, n) order by n returning id, seq),
     s as (insert into finding_source (finding_seq, source_id)
       select f.seq, t.s from unnest($11::text[], $12::text[]) as t (id, s) join f using (id))
     select id, seq from f`,
    [...columnsOf(given.map(cellsOf), 10), ...columnsOf(sources, 2), nowUs],
  );
  return storedRows('finding', rows, given);
}

const cellsOf = ({ finding, about, supersededBy, body }: Fresh[number] & { readonly body: string }): unknown[] => [
  finding.id,
  finding.kind,
  subjectOf(finding),
  about,
  parseInstant(finding.at),
  (finding as { verdict?: string }).verdict ?? null,
  finding.frame?.id ?? null,
  finding.frame?.revision ?? null,
  supersededBy,
  body,
];

async function supersede(client: Client, changed: Changed, nowUs: number): Promise<void> {
  if (changed.length === 0) return;
  await client.query(
    `update finding set superseded_by = t.by, superseded_at_us = $3 from unnest($1::text[], $2::text[]) as t (id, by)
     where finding.id = t.id`,
    [
      ...columnsOf(
        changed.map((c) => [c.known.id, c.supersededBy]),
        2,
      ),
      nowUs,
    ],
  );
}

async function restore(client: Client, changed: Changed): Promise<void> {
  if (changed.length === 0) return;
  await client.query('update finding set superseded_by = null, superseded_at_us = null where id = any($1::text[])', [
    changed.map((c) => c.known.id),
  ]);
}
