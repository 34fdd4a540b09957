/** Those who want to know what was committed. One that fails is told of and does not disturb the others. */
import type { PhaseloomRecord } from '../../lib/records';
import { asError } from '../kit/trouble';

type Listener = (records: readonly PhaseloomRecord[]) => void;

export class CommitListeners {
  private readonly listeners = new Set<Listener>();

  add(listener: Listener): () => void {
    const own: Listener = (records) => listener(records);
    this.listeners.add(own);
    return () => void this.listeners.delete(own);
  }

  tell(records: readonly PhaseloomRecord[]): void {
    for (const listener of this.listeners) {
      try {
        listener(records);
      } catch (cause) {
        process.emitWarning(`a listener of the ledger failed: ${asError(cause).message}`, 'PhaseloomWarning');
      }
    }
  }
}
