/**
 * The steps of letting go ask the database and go on with the rows; whether the database answers at once (SQLite) or later
 * (PostgreSQL) is the driver's affair. So each step is a generator: it yields a question and receives the rows.
 */
export interface Question {
  /** values stand as $1, $2 ... */
  readonly sql: string;
  readonly values: readonly (string | number | null)[];
}

export type Row = Readonly<Record<string, string | number | null>>;
export type Steps<T> = Generator<Question, T, readonly Row[]>;

/** What the databases write differently. */
export interface RetentionWords {
  /** a query of the texts in a JSON array that is the value with this number */
  texts(value: number): string;
  /** a query of the members `from` and `id` of the record in this column of a table, as `id` */
  restsOn(table: string, condition: string): string;
}

export const ask = function* (sql: string, ...values: Question['values']): Steps<readonly Row[]> {
  return yield { sql, values };
};

/** Rows in one statement: a question to a server costs the way there and back. */
export function* insertAll(into: string, rows: readonly Question['values'][], onConflict = ''): Steps<void> {
  if (rows.length === 0) return;
  let place = 0;
  const places = rows.map((row) => `(${row.map(() => `$${++place}`).join(', ')})`);
  yield { sql: `insert into ${into} values ${places.join(', ')} ${onConflict}`, values: rows.flat() };
}

/** For a database that answers at once. */
export function runNow<T>(steps: Steps<T>, answer: (question: Question) => readonly Row[]): T {
  let next = steps.next();
  while (!next.done) next = steps.next(answer(next.value));
  return next.value;
}

export async function run<T>(steps: Steps<T>, answer: (question: Question) => Promise<readonly Row[]>): Promise<T> {
  let next = steps.next();
  while (!next.done) next = steps.next(await answer(next.value));
  return next.value;
}
