/** A thread that, when told, brings what stands in the write-ahead log into the file, as far as that holds up nobody. It loads next to nothing. */
import { DatabaseSync } from 'node:sqlite';
import { parentPort, workerData } from 'node:worker_threads';
import { identityOf } from './file-identity';
import type { FileOrders } from './thread-talk';

const { file, identity } = workerData as FileOrders;
let database: DatabaseSync | undefined;

function checkpoint(): void {
  try {
    database ??= open();
    database.exec('pragma wal_checkpoint(passive)');
  } catch {
    // The connection that writes does it by itself when the log is longer, and says what is wrong with the file.
  }
}

function open(): DatabaseSync {
  const opened = new DatabaseSync(file);
  if (identityOf(file) === identity) return opened;
  opened.close();
  throw new Error('another file took its place');
}

parentPort!.on('message', (order: 'checkpoint' | 'end') => {
  if (order === 'checkpoint') return checkpoint();
  database?.close();
  parentPort!.close();
});
