/**
 * The ledger: everything that came in, everything concluded, everything that must leave the house.
 * Two drivers keep this contract: SQLite (embedded, the default) and PostgreSQL.
 * Nothing here is overwritten: a newer finding about a subject supersedes the older one, and both stay.
 */
import type { Alert, Finding, PhaseloomRecord, Reading, Rejection } from '../../lib/records';
import type { Sharing } from '../kit/sharing';
import type { Delivery, DueDelivery } from './delivery';
import type { LedgerHealth } from './ledger-health';
import type { AlertList, AlertListQuery, AlertQuery, RecordPage, RecordQuery } from './queries';
import type { KnownLink, Verification } from './verification';

export type { Delivery, DueDelivery } from './delivery';
export { type LedgerHealth, notOpen } from './ledger-health';
export type { AlertList, AlertListQuery, AlertQuery, RecordPage, RecordQuery } from './queries';
export type { KnownLink, Verification } from './verification';

export interface AdmittedReading {
  readonly reading: Reading;
  readonly source: string;
  readonly receivedAtUs: number;
  /** the node that took it, or a lane of it: who answers for that sends it into the flow, and again after a crash */
  readonly door?: string;
  /** the reading as JSON text, where that is at hand */
  readonly body?: string;
}

export interface Admission {
  /** per reading given, in order: its place in the ledger and whether it is new */
  readonly readings: readonly { readonly seq: number; readonly isNew: boolean }[];
}

export interface StoredReading {
  readonly seq: number;
  readonly reading: Reading;
  /** topic or door it came through; given by readingsAfter */
  readonly source?: string;
}

/** Rejections of one terminal that are looked through. */
export const REJECTIONS_LOOKED_AT = 1000;

/**
 * Writes wait out a store that is locked, full, read-only or away, in the order they came, and are told in health(). They reject when
 * the record itself cannot be stored, and when given up on: too many are waiting ('ledger-overflow'), or the ledger closed ('ledger-closed').
 */
export interface Ledger {
  /** what it is, for people: file name or host/database; never a secret */
  readonly label: string;
  open(): Promise<void>;
  /** commits what is pending, then closes */
  close(): Promise<void>;

  /** Readings and rejections of one batch in ONE transaction; resolves after the commit. A reading already there is not stored again. */
  admit(readings: readonly AdmittedReading[], rejections: readonly Rejection[]): Promise<Admission>;
  /**
   * A finding, committed in a group with others waiting; resolves after the commit. isNew false: it was there.
   * The newest finding of each kind and subject (for a rotation: the site and its three terminals) is the current one. Newest is by `at`,
   * ties by the order of storing: a finding from an old reading that comes late is stored as already superseded.
   * One said again under another frame revision than the current finding of the same instant becomes current again, and so does one said
   * `anew`: with more known of that instant than when the current one was said.
   */
  keep(record: Finding | Rejection, how?: 'anew'): Promise<{ readonly isNew: boolean }>;

  /** The place of the newest reading; 0 when there is none. */
  head(): Promise<number>;
  /** Readings after a place, oldest first; with a door, only those that door stored first. */
  readingsAfter(seq: number, limit: number, door?: string): Promise<readonly StoredReading[]>;
  /** Up to `perTerminal` newest readings of each terminal at or before a place in the ledger, newest first. */
  latestReadings(
    terminals: readonly string[],
    perTerminal: number,
    upToSeq?: number,
  ): Promise<readonly StoredReading[]>;
  /** Ids of the readings that a screen turned aside at these terminals: of each, those of its newest REJECTIONS_LOOKED_AT such rejections. */
  turnedAside(terminals: readonly string[]): Promise<readonly string[]>;
  /** Readings of one terminal taken in [fromUs, toUs], oldest first: the stream of a reference around an instant. */
  readingsBetween(terminal: string, fromUs: number, toUs: number, limit: number): Promise<readonly StoredReading[]>;
  /** Named place in the ledger up to which something is finished; 0 at first. Never moves back. */
  cursor(name: string): Promise<number>;
  advance(name: string, seq: number): Promise<void>;

  /** The alert and its transition, with its deliveries, in one transaction. Refused (false) if the stored revision is not revision - 1. */
  saveAlert(alert: Alert, deliveries?: readonly Delivery[]): Promise<boolean>;
  alerts(query?: AlertQuery): Promise<readonly Alert[]>;
  /** The alerts in the order in which somebody should see them, a stretch at a time. */
  alertList(query: AlertListQuery): Promise<AlertList>;
  alertHistory(key: string): Promise<readonly Alert[]>;

  /** The clock of the store, microseconds: by it deliveries are claimed and due, so that workers whose clocks differ agree. */
  clockUs(): number;
  /** Puts deliveries in the outbox; those already there (same destination and key) are left as they are. */
  enqueue(deliveries: readonly Delivery[]): Promise<void>;
  /**
   * The oldest waiting delivery of each subject of a destination that is due, oldest first, claimed for so long. The lease begins when
   * it is granted, by the clock of the store: however long the claim itself had to wait, all of it is left.
   */
  claimDue(destination: string, limit: number, leaseMs: number): Promise<readonly DueDelivery[]>;
  accepted(seq: number, atUs: number, answer: string): Promise<void>;
  /** Did not go and is due again later; `isRefusal`: the other side would not take it, rather than could not. */
  failed(seq: number, error: string, retryAtUs: number, isRefusal?: boolean): Promise<void>;
  /** Given up on: kept, marked, no longer in the way of its subject. */
  abandoned(seq: number, atUs: number, error: string): Promise<void>;
  /** Waiting ones oldest first, others newest first; 100 when no limit is given. */
  deliveries(query: {
    readonly destination?: string;
    readonly state?: 'waiting' | 'accepted' | 'abandoned';
    readonly limit?: number;
  }): Promise<readonly (DueDelivery & { readonly state: string; readonly lastError: string })[]>;

  records(query: RecordQuery): Promise<RecordPage>;
  /** How many records of each kind the query would give; limit, after and order do not matter. */
  count(query: RecordQuery): Promise<ReadonlyMap<PhaseloomRecord['kind'], number>>;
  health(): Promise<LedgerHealth>;
  /** Follows the chain of digests. */
  verify(known?: KnownLink): Promise<Verification>;
  /** What several workers need to share out the work; a driver for one worker has none. */
  readonly sharing?: Sharing;
  /**
   * Sums up readings older than so many days by terminal and day, and lets them go: not those that a finding that holds, an open alert
   * or a waiting delivery rests on. One let go and delivered again is taken for new.
   */
  letGo(days: number): Promise<{ readonly letGo: number; readonly held: number }>;
  /**
   * Called after each commit that stored findings, rejections or alert transitions, by other workers as well where the ledger is shared;
   * returns the way to stop.
   */
  onCommit(listener: (records: readonly PhaseloomRecord[]) => void): () => void;
}

/** The config node, as other nodes see it. */
export interface LedgerNode {
  /** resolves when open; rejects when it cannot be opened */
  ready(): Promise<Ledger>;
  /** who finishes something at the stop of a flow: the ledger stays open until it lets go, for some seconds; returns the way to let go */
  use(): () => void;
  /** several workers may use it at once and share out the work */
  readonly isShared: boolean;
  /** the ledger if it is open now */
  readonly ledger: Ledger | undefined;
}
