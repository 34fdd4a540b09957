/** Questions of people and analysts: they may look at all there is, and only read. */
import type { Kysely } from 'kysely';
import { listAlerts } from '../alert-list';
import type { AlertListQuery, KnownLink, RecordQuery } from '../ledger';
import { countRecords, findRecords } from '../record-query';
import type { LedgerTables } from '../schema';
import type { DeliveryQuery } from './outbox';
import type { Parts } from './parts';

export class Archive {
  constructor(
    private readonly kysely: Kysely<LedgerTables>,
    private readonly parts: Pick<Parts, 'alerts' | 'outbox' | 'chain'>,
  ) {}

  alertList(query: AlertListQuery) {
    return listAlerts(this.kysely, query);
  }
  async alertHistory(key: string) {
    return this.parts.alerts.alertHistory(key);
  }
  async deliveries(query: DeliveryQuery) {
    return this.parts.outbox.deliveries(query);
  }
  records(query: RecordQuery) {
    return findRecords(this.kysely, query);
  }
  count(query: RecordQuery) {
    return countRecords(this.kysely, query);
  }
  verify(known?: KnownLink) {
    return this.parts.chain.verify(known);
  }
}

export type ArchiveMethod = keyof Archive;
