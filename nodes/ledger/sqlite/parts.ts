/** The rooms of the ledger, each with its prepared statements. */
import type { DatabaseSync } from 'node:sqlite';
import { Alerts } from './alerts';
import { Chain } from './chain';
import { Findings } from './findings';
import { Outbox } from './outbox';
import { Places } from './places';
import { Readings } from './readings';
import { Tally } from './tally';

export interface Parts {
  readonly tally: Tally;
  readonly readings: Readings;
  readonly findings: Findings;
  readonly alerts: Alerts;
  readonly outbox: Outbox;
  readonly places: Places;
  readonly chain: Chain;
}

export function makeParts(database: DatabaseSync, nowUs: () => number): Parts {
  const tally = new Tally(database);
  return {
    tally,
    readings: new Readings(database, tally),
    findings: new Findings(database, tally, nowUs),
    alerts: new Alerts(database),
    outbox: new Outbox(database, nowUs),
    places: new Places(database, nowUs),
    chain: new Chain(database, nowUs),
  };
}
