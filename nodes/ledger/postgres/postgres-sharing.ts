/** What workers on one database need to share out the work. None of it waits behind the writes of the ledger. */
import type { Pool } from 'pg';
import type { HoldRequest, LanePlace, Sharing } from '../../kit/sharing';
import * as claims from './claims';
import { head, readingsOfLanes } from './readings';
import { advanceAll, placesOf } from './tally';

export class PostgresSharing implements Sharing {
  private readonly prepared = new Set<string>();
  private readonly listeners = new Set<() => void>();

  constructor(
    private readonly ask: <T>(question: (parts: { readonly pool: Pool }) => Promise<T>) => Promise<T>,
    private readonly nowUs: () => number,
  ) {}

  onReadings(listener: () => void): () => void {
    this.listeners.add(listener);
    return () => void this.listeners.delete(listener);
  }

  tellReadings(): void {
    for (const listener of this.listeners) listener();
  }

  async hold(request: HoldRequest) {
    const { scope, names } = request;
    return this.ask(async ({ pool }) => {
      const known = JSON.stringify([scope, names]);
      if (!this.prepared.has(known)) {
        await claims.prepare(pool, scope, names);
        this.prepared.add(known);
      }
      return claims.hold(pool, request);
    });
  }
  leave(scope: string, holder: string) {
    return this.ask(({ pool }) => claims.leave(pool, scope, holder));
  }
  lapsed(scope: string, forMs: number) {
    return this.ask(({ pool }) => claims.lapsed(pool, scope, forMs));
  }
  forget(scope: string, name: string) {
    return this.ask(({ pool }) => claims.forget(pool, scope, name));
  }
  readingsOfLanes(places: readonly LanePlace[], limit: number) {
    return this.ask(({ pool }) => readingsOfLanes(pool, places, limit));
  }
  head() {
    return this.ask(({ pool }) => head(pool));
  }
  placesOf(names: readonly string[]) {
    return this.ask(({ pool }) => placesOf(pool, names));
  }
  advanceAll(places: Parameters<Sharing['advanceAll']>[0]) {
    return this.ask(({ pool }) => advanceAll(pool, places, this.nowUs()));
  }
}
