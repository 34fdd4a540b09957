/** A question that the server rolled back because two stood in each other's way is asked again, as the PostgreSQL manual (13.5) tells clients to. */
import { setTimeout as sleep } from 'node:timers/promises';
import { asError } from '../../kit/trouble';

/** serialization_failure and deadlock_detected (PostgreSQL manual, appendix A): nothing of the statement was kept. */
const ROLLED_BACK = new Set(['40001', '40P01']);
const TRIES = 5;
const PAUSE_MS = 20;

/** For questions each statement of which may be asked twice. @throws what the last try threw */
export async function againAfterDeadlock<T>(ask: () => Promise<T>): Promise<T> {
  for (let tries = 1; ; tries += 1) {
    try {
      return await ask();
    } catch (cause) {
      if (tries >= TRIES || !ROLLED_BACK.has((asError(cause) as { code?: string }).code ?? '')) throw cause;
      // Not all at the same moment again.
      await sleep(PAUSE_MS * tries * Math.random());
    }
  }
}
