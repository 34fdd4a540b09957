/** A thread that answers questions to the archive, through a connection of its own that only reads, while another one writes. */
import { statSync } from 'node:fs';
import { basename } from 'node:path';
import type { DatabaseSync } from 'node:sqlite';
import { parentPort, workerData } from 'node:worker_threads';
import { Kysely } from 'kysely';
import type { LedgerTables } from '../schema';
import { Alerts } from './alerts';
import { Answering } from './answering';
import { Archive } from './archive';
import { Chain } from './chain';
import { openForQuestions } from './database-file';
import { NodeSqliteDialect } from './dialect';
import { Outbox } from './outbox';
import { Snapshots } from './snapshots';
import { explained } from './store-trouble';
import type { FileOrders, Question } from './thread-talk';

interface Opened {
  readonly archive: Archive;
  readonly snapshots: Snapshots;
}

const { file, identity } = workerData as FileOrders;
const clockUs = () => Date.now() * 1000;
let opened: Opened | undefined;

/** Others write on another thread at any moment: nothing moves only within a snapshot. */
class FollowedChain extends Chain {
  constructor(
    database: DatabaseSync,
    private readonly snapshots: Snapshots,
  ) {
    super(database, clockUs);
  }

  override pause(): Promise<void> {
    return this.snapshots.giveWay();
  }
}

function open(): Opened {
  const database = openForQuestions(file, identity);
  const snapshots = new Snapshots(database, () => statSync(`${file}-wal`, { throwIfNoEntry: false })?.size ?? 0);
  const archive = new Archive(new Kysely<LedgerTables>({ dialect: new NodeSqliteDialect(database) }), {
    alerts: new Alerts(database),
    outbox: new Outbox(database, clockUs),
    chain: new FollowedChain(database, snapshots),
  });
  return { archive, snapshots };
}

async function perform(question: Question): Promise<unknown> {
  try {
    opened ??= open();
    const { archive, snapshots } = opened;
    return await snapshots.within(() =>
      (archive[question.do] as (...args: readonly unknown[]) => Promise<unknown>)(...question.args),
    );
  } catch (cause) {
    throw explained(cause, basename(file));
  }
}

new Answering(parentPort!, perform, clockUs);
