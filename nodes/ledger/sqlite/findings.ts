/** Findings: what was concluded. Every one stays; of each kind and subject one holds. */
import type { DatabaseSync, StatementSync } from 'node:sqlite';
import { parseInstant } from '../../../lib/instant';
import type { Finding, PhaseloomRecord } from '../../../lib/records';
import { aboutOf, subjectOf } from '../subject';
import type { Tally } from './tally';

/** Most findings rest on fewer readings. */
const SOURCES_AT_ONCE = 16;

interface Known {
  readonly id: string;
  readonly at_us: number;
  readonly frame_revision: string | null;
  readonly superseded_by: string | null;
}

export class Findings {
  private readonly insert;
  /** by how many sources it stores */
  private readonly insertSources = new Map<number, StatementSync>();
  private readonly byId;
  private readonly holding;
  private readonly supersede;
  private readonly restore;

  constructor(
    private readonly database: DatabaseSync,
    private readonly tally: Tally,
    private readonly nowUs: () => number,
  ) {
    this.insert = database.prepare(
      `insert into finding (id, kind, subject, about, at_us, stored_at_us, verdict, frame_id, frame_revision, superseded_by, superseded_at_us, body)
       values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
    );
    this.byId = database.prepare('select id, at_us, frame_revision, superseded_by from finding where id = ?');
    this.holding = database.prepare(
      'select id, at_us, frame_revision, superseded_by from finding where kind = ? and about = ? and superseded_by is null',
    );
    this.supersede = database.prepare('update finding set superseded_by = ?, superseded_at_us = ? where id = ?');
    this.restore = database.prepare('update finding set superseded_by = null, superseded_at_us = null where id = ?');
  }

  /** True when it is new. `body`: its JSON, where that is at hand. */
  keep(finding: Finding, stored: PhaseloomRecord[], how?: 'anew', body?: string): boolean {
    const about = aboutOf(finding);
    const holding = this.holding.get(finding.kind, about) as Known | undefined;
    const known = this.byId.get(finding.id) as Known | undefined;
    if (known) {
      if (holding && isSaidAnew(known, holding, how)) this.takePlace(known.id, holding);
      return false;
    }
    this.store(finding, about, holding, body ?? JSON.stringify(finding));
    stored.push(finding);
    return true;
  }

  private store(finding: Finding, about: string, holding: Known | undefined, body: string): void {
    const nowUs = this.nowUs();
    const atUs = parseInstant(finding.at);
    const late = holding !== undefined && atUs < holding.at_us;
    if (holding && !late) this.supersede.run(finding.id, nowUs, holding.id);
    const { lastInsertRowid } = this.insert.run(
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
      body,
    );
    for (let from = 0; from < finding.from.length; from += SOURCES_AT_ONCE) {
      this.storeSources(Number(lastInsertRowid), finding.from.slice(from, from + SOURCES_AT_ONCE));
    }
    this.tally.add('finding', 1);
  }

  /** With one statement: to start one costs as much as to store a row. */
  private storeSources(findingSeq: number, sources: readonly string[]): void {
    const rows = sources.length;
    let insert = this.insertSources.get(rows);
    if (!insert) {
      const values = Array(rows).fill('(?, ?)').join(', ');
      const sql = `insert into finding_source (finding_seq, source_id) values ${values} on conflict do nothing`;
      insert = this.database.prepare(sql);
      this.insertSources.set(rows, insert);
    }
    insert.run(...sources.flatMap((source) => [findingSeq, source]));
  }

  private takePlace(id: string, holding: Known): void {
    this.supersede.run(id, this.nowUs(), holding.id);
    this.restore.run(id);
  }
}

/** The same is said of the same instant once more, and what was said in between came of another frame or of less that was known. */
const isSaidAnew = (known: Known, holding: Known, how: 'anew' | undefined): boolean =>
  known.superseded_by !== null &&
  known.at_us === holding.at_us &&
  (how === 'anew' || known.frame_revision !== holding.frame_revision);
