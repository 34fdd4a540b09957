/** Findings: what was concluded. Every one stays; of each kind and subject one holds. */
import { parseInstant } from '../../../lib/instant';
import type { Finding } from '../../../lib/records';
import { aboutOf, subjectOf } from '../subject';
import { type Client, columnsOf, storable } from './connection';
import { type KnownFinding, Standing } from './standing';
import { type StoredRow, storedRows } from './stored-row';
import type { Store } from './write';

/** A finding, and whether it is said with more known of its instant than before. */
export interface Said {
  readonly finding: Finding;
  readonly how: 'anew' | undefined;
}

/** As store of a ledger with this clock. */
export const storeFindings =
  (nowUs: () => number): Store<Said, { readonly isNew: boolean }> =>
  async (client, said, stored) => {
    const findings = said.map(({ finding }) => finding);
    const abouts = findings.map((finding) => storable(aboutOf(finding)));
    const standing = new Standing(await knownFindings(client, findings, abouts));
    const answers = said.map(({ finding, how }, i) => ({ isNew: standing.keep(finding, abouts[i]!, how) }));
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
    await install(
      client,
      standing.installed().map((known) => ({ ...known, seq: byId.get(known.id)?.seq ?? known.seq })),
    );
    for (const [i, { isNew }] of answers.entries()) if (isNew) stored[i]!.push(byId.get(findings[i]!.id)!);
    return answers;
  };

async function knownFindings(client: Client, findings: readonly Finding[], abouts: readonly string[]) {
  const { rows: holding } = await client.query<KnownFinding>(
    `select f.id, f.seq, f.kind, f.about, f.at_us, f.frame_revision, null as superseded_by
     from (select distinct k, a from unnest($1::text[], $2::text[]) as t (k, a)) as t
     join finding_holding as f on f.kind = t.k and f.about = t.a`,
    [findings.map((f) => f.kind), abouts],
  );
  const { rows: there } = await client.query<Located>('select seq, at_us from finding_key where id = any($1::text[])', [
    findings.map((f) => f.id),
  ]);
  return there.length === 0 ? holding : [...holding, ...(await findingsAt(client, there))];
}

async function findingsAt(client: Client, places: readonly Located[]): Promise<KnownFinding[]> {
  const { rows } = await client.query<KnownFinding>(
    `select id, f.seq, kind, about, f.at_us, frame_revision, superseded_by from unnest($1::bigint[], $2::bigint[]) as t (seq, at_us)
     join finding as f on f.seq = t.seq and f.at_us = t.at_us where f.at_us between $3 and $4`,
    located(places),
  );
  return rows;
}

interface Located {
  readonly seq: number;
  readonly at_us: number;
}

/** Columns of places, then the bounds of their times: by these the planner passes over all other partitions. */
function located(places: readonly Located[]): unknown[] {
  const times = places.map((p) => p.at_us);
  return [places.map((p) => p.seq), times, Math.min(...times), Math.max(...times)];
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
         with ordinality as t (a, b, c, d, e, f, g, h, i, j, n) order by n returning id, seq, at_us),
     k as (insert into finding_key (id, seq, at_us) select id, seq, at_us from f),
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
    `update finding set superseded_by = t.by, superseded_at_us = $6 from unnest($1::bigint[], $2::bigint[], $5::text[]) as t (seq, at_us, by)
     where finding.seq = t.seq and finding.at_us = t.at_us and finding.at_us between $3 and $4`,
    [...located(changed.map((c) => c.known)), changed.map((c) => storable(c.supersededBy)), nowUs],
  );
}

async function restore(client: Client, changed: Changed): Promise<void> {
  if (changed.length === 0) return;
  await client.query(
    `update finding set superseded_by = null, superseded_at_us = null from unnest($1::bigint[], $2::bigint[]) as t (seq, at_us)
     where finding.seq = t.seq and finding.at_us = t.at_us and finding.at_us between $3 and $4`,
    located(changed.map((c) => c.known)),
  );
}

async function install(client: Client, holding: readonly KnownFinding[]): Promise<void> {
  if (holding.length === 0) return;
  await client.query(
    `insert into finding_holding (kind, about, id, seq, at_us, frame_revision)
     select * from unnest($1::text[], $2::text[], $3::text[], $4::bigint[], $5::bigint[], $6::text[])
     on conflict (kind, about) do update set id = excluded.id, seq = excluded.seq, at_us = excluded.at_us, frame_revision = excluded.frame_revision`,
    columnsOf(
      holding.map((f) => [f.kind, f.about, f.id, f.seq, f.at_us, f.frame_revision]),
      6,
    ),
  );
}
