/** The way back from a thread of the ledger: answers all that are done within one turn of the event loop together. */
import type { MessagePort } from 'node:worker_threads';
import { asError } from '../../kit/trouble';
import type { Answer, Answers, Calls } from './thread-talk';

export class Answering<C> {
  private stored: string[] = [];
  private answers: Answer[] = [];
  private isTelling = false;

  constructor(
    private readonly port: MessagePort,
    private readonly perform: (call: C) => Promise<unknown>,
    private readonly clockUs: () => number,
  ) {
    port.on('message', ({ first, calls }: Calls<C>) => {
      for (const [i, call] of calls.entries()) void this.answer(first + i, call);
    });
  }

  /** Goes with the next answers. */
  tellStored(ids: readonly string[]): void {
    for (const id of ids) this.stored.push(id);
    this.tell();
  }

  private async answer(number: number, call: C): Promise<void> {
    const said = await this.perform(call).then(
      (value) => ({ value }),
      (cause) => ({ failure: { code: (cause as { code?: string }).code, message: asError(cause).message } }),
    );
    this.answers.push({ number, ...said });
    this.tell();
  }

  private tell(): void {
    if (this.isTelling) return;
    this.isTelling = true;
    setImmediate(() => {
      this.isTelling = false;
      const { stored, answers } = this;
      this.port.postMessage({ clockUs: this.clockUs(), stored, answers } satisfies Answers);
      this.stored = [];
      this.answers = [];
    });
  }
}
