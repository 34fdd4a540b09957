/** How many rows the large tables hold, kept with every write: counting millions of rows would hold everything up. */
import type { DatabaseSync } from 'node:sqlite';

export type Tallied = 'reading' | 'rejection' | 'finding';

export class Tally {
  private readonly increase;
  private readonly all;

  constructor(database: DatabaseSync) {
    this.increase = database.prepare(
      'insert into tally (name, amount) values (?, ?) on conflict (name) do update set amount = amount + excluded.amount',
    );
    this.all = database.prepare('select name, amount from tally');
  }

  add(name: Tallied, amount: number): void {
    if (amount > 0) this.increase.run(name, amount);
  }

  read(): Readonly<Record<Tallied, number>> {
    const rows = this.all.all() as unknown as { name: Tallied; amount: number }[];
    return { reading: 0, rejection: 0, finding: 0, ...Object.fromEntries(rows.map((r) => [r.name, r.amount])) };
  }
}
