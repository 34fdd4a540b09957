/** The tables, as both drivers have them. Times are microseconds since 1970-01-01T00:00:00Z; `body` is the whole record as JSON. */
import type { Generated } from 'kysely';

export interface LedgerTables {
  reading: ReadingTable;
  rejection: RejectionTable;
  finding: FindingTable;
  finding_source: { finding_seq: number; source_id: string };
  alert: AlertTable;
  alert_transition: AlertTransitionTable;
  delivery: DeliveryTable;
  /** how far something has come, e.g. what has been sent into the flow */
  place: { name: string; seq: number; moved_at_us: number };
  /** rows of the large tables, counted as they are stored: counting them afresh would hold everything up */
  tally: { name: string; amount: number };
  /** what one worker at a time may do, until when by the clock of the database; term counts the changes of hands */
  claim: { scope: string; name: string; holder: string; until_us: number; term: number };
  /** workers that share claims, and until when they count as alive */
  worker: { scope: string; holder: string; until_us: number };
}

export interface ReadingTable {
  /** order of storing */
  seq: Generated<number>;
  id: string;
  terminal: string;
  taken_at_us: number;
  received_at_us: number;
  /** topic or door it came through */
  source: string;
  /** the node that stored it first (where workers share the ledger, a lane of it), or empty */
  door: string;
  instrument: string | null;
  taken_by: string | null;
  job: string | null;
  against: string | null;
  angle_deg: number | null;
  voltage_v: number | null;
  body: string;
}

export interface RejectionTable {
  seq: Generated<number>;
  id: string;
  at_us: number;
  source: string;
  terminal: string | null;
  stage: string;
  /** code of the first problem */
  code: string;
  body: string;
}

export interface FindingTable {
  seq: Generated<number>;
  id: string;
  kind: string;
  subject: string;
  /** of two findings of one kind about the same thing only the newer holds */
  about: string;
  at_us: number;
  stored_at_us: number;
  verdict: string | null;
  frame_id: string | null;
  frame_revision: string | null;
  /** id of the finding that took its place; null: this one holds */
  superseded_by: string | null;
  superseded_at_us: number | null;
  body: string;
}

export interface AlertTable {
  key: string;
  id: string;
  category: string;
  subject: string;
  priority: string;
  state: string;
  active: number;
  revision: number;
  at_us: number;
  /** when time alone moves it; null: never */
  due_at_us: number | null;
  body: string;
}

export interface AlertTransitionTable {
  seq: Generated<number>;
  id: string;
  key: string;
  revision: number;
  subject: string;
  transition: string;
  state: string;
  at_us: number;
  made_by: string | null;
  body: string;
}

export interface DeliveryTable {
  seq: Generated<number>;
  destination: string;
  key: string;
  subject: string;
  state: 'waiting' | 'accepted' | 'abandoned';
  /** 1: the oldest waiting delivery of its subject, the only one that may leave */
  is_head: number;
  attempts: number;
  refusals: Generated<number>;
  enqueued_at_us: number;
  /** not to be claimed before: after a failure, or while somebody has claimed it */
  due_at_us: number;
  done_at_us: number | null;
  answer: string | null;
  last_error: string;
  body: string;
}
