/** Findings: what was concluded. Every one stays; of each kind and subject one holds. */
import { parseInstant } from '../../../lib/instant';
import type { Finding, PhaseloomRecord } from '../../../lib/records';
import { aboutOf, subjectOf } from '../subject';
import { type Client, storable } from './connection';

interface Known {
  readonly id: string;
  readonly at_us: number;
  readonly frame_revision: string | null;
  readonly superseded_by: string | null;
}

/** True when it is new. */
export async function keep(client: Client, finding: Finding, nowUs: number, stored: PhaseloomRecord[]) {
  const about = storable(aboutOf(finding));
  const { rows } = await client.query<Known & { holds: boolean }>(
    `select id, at_us, frame_revision, superseded_by, true as holds from finding where kind = $1 and about = $2 and superseded_by is null
     union all select id, at_us, frame_revision, superseded_by, false from finding where id = $3`,
    [finding.kind, about, finding.id],
  );
  const holding = rows.find((row) => row.holds);
  const known = rows.find((row) => !row.holds);
  if (known) {
    if (holding && isSaidAnew(known, holding)) await takePlace(client, known.id, holding.id, nowUs);
    return false;
  }
  await store(client, finding, about, holding, nowUs);
  stored.push(finding);
  return true;
}

async function store(client: Client, finding: Finding, about: string, holding: Known | undefined, nowUs: number) {
  const atUs = parseInstant(finding.at);
  const late = holding !== undefined && atUs < holding.at_us;
  if (holding && !late) await supersede(client, holding.id, finding.id, nowUs);
  const cells = [
    finding.id,
    finding.kind,
    subjectOf(finding),
    about,
    atUs,
    nowUs,
    (finding as { verdict?: string }).verdict ?? null,
    finding.frame?.id ?? null,
    finding.frame?.revision ?? null,
    late ? holding.id : null,
    late ? nowUs : null,
    JSON.stringify(finding),
  ];
  await client.query(
    `with f as (insert into finding (id, kind, subject, about, at_us, stored_at_us, verdict, frame_id, frame_revision, superseded_by,
       superseded_at_us, body) values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12) returning seq)
     insert into finding_source (finding_seq, source_id) select f.seq, s.id from f, unnest($13::text[]) as s (id) on conflict do nothing`,
    [...cells.map(storable), finding.from.map(storable)],
  );
}

async function takePlace(client: Client, id: string, holdingId: string, nowUs: number): Promise<void> {
  await supersede(client, holdingId, id, nowUs);
  await client.query('update finding set superseded_by = null, superseded_at_us = null where id = $1', [id]);
}

const supersede = (client: Client, id: string, by: string, nowUs: number) =>
  client.query('update finding set superseded_by = $1, superseded_at_us = $2 where id = $3', [by, nowUs, id]);

/** A correction taken back: the same is said of the same instant once more, and what was said in between came of another frame. */
const isSaidAnew = (known: Known, holding: Known): boolean =>
  known.superseded_by !== null && known.at_us === holding.at_us && known.frame_revision !== holding.frame_revision;
