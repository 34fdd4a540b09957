/** Readings and rejections: what came in. */
import type { DatabaseSync } from 'node:sqlite';
import { parseInstant } from '../../../lib/instant';
import type { PhaseloomRecord, Reading, Rejection } from '../../../lib/records';
import { type Admission, REJECTIONS_LOOKED_AT, type StoredReading } from '../ledger';
import type { Cell } from '../reading-cells';
import { ReadingRows } from './reading-rows';
import type { Tally } from './tally';

interface ReadingRow {
  readonly seq: number;
  readonly taken_at_us: number;
  readonly source: string;
  readonly body: string;
}

/** `limit ? + 0`: SQLite plans a statement with `limit ?` anew whenever that is bound, which takes five times as long as the answer. */
export class Readings {
  private readonly rows;
  private readonly insertRejection;
  private readonly newest;
  private readonly after;
  private readonly afterOfDoor;
  private readonly latestOf;
  private readonly aside;
  private readonly between;

  constructor(
    private readonly database: DatabaseSync,
    private readonly tally: Tally,
  ) {
    this.rows = new ReadingRows(database);
    this.insertRejection = database.prepare(
      `insert into rejection (id, at_us, source, terminal, stage, code, body) values (?, ?, ?, ?, ?, ?, ?) on conflict (id) do nothing`,
    );
    this.newest = database.prepare('select coalesce(max(seq), 0) as seq from reading');
    this.after = database.prepare(
      'select seq, taken_at_us, source, body from reading where seq > ? order by seq limit ? + 0',
    );
    this.afterOfDoor = database.prepare(
      'select seq, taken_at_us, source, body from reading where door = ? and seq > ? order by seq limit ? + 0',
    );
    this.latestOf = database.prepare(
      `select seq, taken_at_us, body from reading where terminal = ? and seq <= ? order by taken_at_us desc, seq desc limit ? + 0`,
    );
    this.aside = database.prepare(
      "select body from rejection where terminal = ? and stage = 'screen' order by at_us desc, seq desc limit ? + 0",
    );
    this.between = database.prepare(
      `select seq, taken_at_us, body from reading where terminal = ? and taken_at_us between ? and ? order by taken_at_us, seq limit ? + 0`,
    );
  }

  /** @param cells of all readings, one after the other */
  admit(cells: readonly Cell[], rejections: readonly Rejection[], stored: PhaseloomRecord[]): Admission {
    const places = this.rows.insert(cells);
    this.tally.add('reading', places.filter((p) => p.isNew).length);
    for (const rejection of rejections) this.reject(rejection, stored);
    return { readings: places };
  }

  reject(rejection: Rejection, stored: PhaseloomRecord[]): boolean {
    const { id, at, source, terminal, stage, problems } = rejection;
    const code = problems[0]?.code ?? '';
    const { changes } = this.insertRejection.run(
      id,
      parseInstant(at),
      source,
      terminal,
      stage,
      code,
      JSON.stringify(rejection),
    );
    if (changes === 0) return false;
    this.tally.add('rejection', 1);
    stored.push(rejection);
    return true;
  }

  head(): number {
    return (this.newest.get() as { seq: number }).seq;
  }

  readingsAfter(seq: number, limit: number, door?: string): StoredReading[] {
    const found = door === undefined ? this.after.all(seq, limit) : this.afterOfDoor.all(door, seq, limit);
    return rows(found).map((row) => ({ ...opened(row), source: row.source }));
  }

  latest(terminals: readonly string[], perTerminal: number, upToSeq = Number.MAX_SAFE_INTEGER): StoredReading[] {
    return this.ofEach(terminals, (terminal) => rows(this.latestOf.all(terminal, upToSeq, perTerminal)))
      .sort((a, b) => b.taken_at_us - a.taken_at_us || b.seq - a.seq)
      .map(opened);
  }

  turnedAside(terminals: readonly string[]): string[] {
    const asideAt = (terminal: string) => this.aside.all(terminal, REJECTIONS_LOOKED_AT) as { body: string }[];
    return this.ofEach(terminals, asideAt).flatMap(({ body }) => (JSON.parse(body) as Rejection).from);
  }

  readingsBetween(terminal: string, fromUs: number, toUs: number, limit: number): StoredReading[] {
    return rows(this.between.all(terminal, fromUs, toUs, limit)).map(opened);
  }

  /** In one read transaction: to begin and end one for each costs more than the answers. */
  private ofEach<T>(terminals: readonly string[], ask: (terminal: string) => T[]): T[] {
    this.database.exec('begin');
    try {
      return [...new Set(terminals)].flatMap(ask);
    } finally {
      this.database.exec('commit');
    }
  }
}

const rows = (raw: unknown[]) => raw as ReadingRow[];
const opened = ({ seq, body }: ReadingRow): StoredReading => ({ seq, reading: JSON.parse(body) as Reading });
