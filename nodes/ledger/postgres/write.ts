/** What callers want stored, and how the writes of one transaction are done: those of one kind in one go. */
import { asError } from '../../kit/trouble';
import { StoreTrouble } from '../sqlite/store-trouble';
import type { Client } from './connection';
import type { StoredRow } from './stored-row';

/**
 * Stores items and gives an answer for each; pushes the rows that are new to the list of their item. May be run again after a rollback.
 * Items that several callers gave to one function are stored together, at the place of the first: each makes no difference to the
 * writes of other functions.
 */
export type Store<I, T> = (
  client: Client,
  items: readonly I[],
  stored: readonly StoredRow[][],
) => Promise<readonly T[]>;

export interface Write {
  readonly item: unknown;
  // biome-ignore lint/suspicious/noExplicitAny: items and answers of one store belong together, those of several differ
  readonly store: Store<any, unknown>;
}

export type Outcome = { readonly value: unknown; readonly stored: readonly StoredRow[] } | { readonly failure: Error };

/** Throws when one of them cannot be stored. */
export async function storeTogether(client: Client, writes: readonly Write[]): Promise<Outcome[]> {
  const outcomes: Outcome[] = [];
  for (const [store, places] of Map.groupBy(writes.keys(), (place) => writes[place]!.store)) {
    const stored = places.map((): StoredRow[] => []);
    const values = await store(
      client,
      places.map((place) => writes[place]!.item),
      stored,
    );
    for (const [i, place] of places.entries()) outcomes[place] = { value: values[i], stored: stored[i]! };
  }
  return outcomes;
}

/** Each by itself: one that cannot be stored fails alone. Throws when the server is to blame. */
export async function storeEach(
  client: Client,
  writes: readonly Write[],
  explain: (cause: unknown) => unknown,
): Promise<Outcome[]> {
  const outcomes: Outcome[] = [];
  for (const write of writes) {
    await client.query('savepoint one');
    try {
      const [outcome] = await storeTogether(client, [write]);
      await client.query('release savepoint one');
      outcomes.push(outcome!);
    } catch (cause) {
      const explained = explain(cause);
      if (explained instanceof StoreTrouble) throw explained;
      await client.query('rollback to savepoint one');
      outcomes.push({ failure: asError(explained) });
    }
  }
  return outcomes;
}
