/**
 * The threads that answer questions to the archive, begun when they are first needed. There are two, so that one long question leaves the
 * other to those who look at the board. They hold nothing: one that ends by itself takes its questions with it and nothing else.
 */
import { Trouble } from '../../kit/trouble';
import type { RecordQuery } from '../ledger';
import type { ArchiveMethod } from './archive';
import { LedgerThread } from './ledger-thread';
import type { FileOrders, Question } from './thread-talk';

/**
 * What nodes ask while they judge, of one place and never of its readings: an index answers it at once on the thread that writes. Behind
 * two long questions an alert would wait for it.
 */
export const isOfTheFlow = ({ kinds, subject = '/', limit = 1000 }: RecordQuery): boolean =>
  kinds !== undefined && !kinds.includes('reading') && !subject.endsWith('/') && limit <= 1000;

const MOST = 2;
/** Nothing can stop a statement that runs, and what only reads need not be waited for. */
const ENDING_MS = 500;

export class QuestionThreads {
  private readonly threads = new Set<LedgerThread<Question>>();

  constructor(
    private readonly orders: FileOrders,
    private readonly label: string,
  ) {}

  ask(method: ArchiveMethod, args: readonly unknown[]): Promise<unknown> {
    return this.freest().call({ do: method, args } as Question);
  }

  async end(): Promise<void> {
    const ended = Promise.all([...this.threads].map((thread) => thread.end()));
    let timer: NodeJS.Timeout | undefined;
    await Promise.race([ended, new Promise((resolve) => (timer = setTimeout(resolve, ENDING_MS)))]);
    clearTimeout(timer);
  }

  private freest(): LedgerThread<Question> {
    const [freest] = [...this.threads].sort((a, b) => a.underWay - b.underWay);
    return freest && (freest.underWay === 0 || this.threads.size === MOST) ? freest : this.another();
  }

  private another(): LedgerThread<Question> {
    const { orders, label } = this;
    const thread: LedgerThread<Question> = new LedgerThread({
      program: 'question-work.js',
      orders,
      label,
      endedByItself: (cause) => {
        this.threads.delete(thread);
        void thread.end(
          new Trouble('ledger-question', `ledger ${label}: the question was cut off (${cause.message}); ask again`),
        );
      },
    });
    this.threads.add(thread);
    return thread;
  }
}
