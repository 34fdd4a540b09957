/** A thread that, when told, brings what stands in the write-ahead log into the file, as far as that holds up nobody. */
import type { DatabaseSync } from 'node:sqlite';
import { parentPort, workerData } from 'node:worker_threads';
import { openForCheckpoints } from './database-file';
import type { FileOrders } from './thread-talk';

const { file, identity } = workerData as FileOrders;
let database: DatabaseSync | undefined;

function checkpoint(): void {
  try {
    database ??= openForCheckpoints(file, identity);
    database.exec('pragma wal_checkpoint(passive)');
  } catch {
    // The connection that writes does it by itself when the log is longer, and says what is wrong with the file.
  }
}

parentPort!.on('message', (order: 'checkpoint' | 'end') => {
  if (order === 'checkpoint') return checkpoint();
  database?.close();
  parentPort!.close();
});
