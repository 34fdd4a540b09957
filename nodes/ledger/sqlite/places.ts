/** Named places in the ledger up to which something is finished. They never move back. */
import type { DatabaseSync } from 'node:sqlite';

export class Places {
  private readonly read;
  private readonly move;

  constructor(
    database: DatabaseSync,
    private readonly nowUs: () => number,
  ) {
    this.read = database.prepare('select seq from place where name = ?');
    this.move = database.prepare(
      `insert into place (name, seq, moved_at_us) values (?, ?, ?)
       on conflict (name) do update set seq = excluded.seq, moved_at_us = excluded.moved_at_us where excluded.seq > place.seq`,
    );
  }

  cursor(name: string): number {
    return (this.read.get(name) as { seq: number } | undefined)?.seq ?? 0;
  }

  advance(name: string, seq: number): void {
    this.move.run(name, seq, this.nowUs());
  }
}
