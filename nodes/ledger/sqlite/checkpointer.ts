/**
 * Checkpoints of the write-ahead log on a thread of their own, while the thread that writes goes on committing: it does them itself only
 * when the log has grown to twice what it should. Whatever happens to this thread, nothing else ends with it.
 */
import { join } from 'node:path';
import { Worker } from 'node:worker_threads';
import type { FileOrders } from './thread-talk';

/** Pages written to the log between checkpoints, about. */
const PAGES = 8000;
/** Readings lie side by side in the table and in most indexes; what is concluded of them takes the place of what was, elsewhere. */
const PAGES_A_READING = 1 / 4;
const PAGES_ANOTHER = 1;
/** A checkpoint that takes longer than this is not waited for. */
const ENDING_MS = 2000;

export class Checkpointer {
  private worker: Worker | undefined;
  private pages = 0;

  constructor(private readonly orders: FileOrders) {}

  /** So many records more are in the log. */
  wrote({ readings = 0, others = 0 }: { readonly readings?: number; readonly others?: number }): void {
    this.pages += readings * PAGES_A_READING + others * PAGES_ANOTHER;
    if (this.pages < PAGES) return;
    this.pages = 0;
    this.worker ??= this.begun();
    this.worker.postMessage('checkpoint');
  }

  /** Its connection is closed then. */
  async end(): Promise<void> {
    const { worker } = this;
    if (!worker) return;
    const ended = new Promise((resolve) => worker.once('exit', resolve));
    worker.postMessage('end');
    let timer: NodeJS.Timeout | undefined;
    await Promise.race([ended, new Promise((resolve) => (timer = setTimeout(resolve, ENDING_MS)))]);
    clearTimeout(timer);
    await worker.terminate();
  }

  private begun(): Worker {
    const resourceLimits = { maxYoungGenerationSizeMb: 1, maxOldGenerationSizeMb: 32 };
    const worker = new Worker(join(__dirname, 'checkpoint-work.js'), { workerData: this.orders, resourceLimits });
    worker.unref();
    worker.on('error', () => undefined);
    worker.once('exit', () => {
      this.worker = undefined;
    });
    return worker;
  }
}
