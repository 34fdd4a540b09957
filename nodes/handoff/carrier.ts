/**
 * Carries what is due in the outbox to one target: claimed with a lease, so that several workers never carry the same at once; marked
 * when the other side said yes; tried again with doubling, jittered pauses; given up only where the other side refuses.
 */
import type { DueDelivery, Ledger } from '../ledger/ledger';
import type { Answer, Target } from './target';

export interface CarrierSettings {
  readonly destination: string;
  readonly firstPauseMs: number;
  readonly longestPauseMs: number;
  /** times a delivery must be refused to be given up, whoever offered it: an outage before must not use up its tries */
  readonly refusals: number;
  /** a delivery older than this is given up, milliseconds; 0: never */
  readonly maxAgeMs: number;
  readonly leaseMs: number;
}

/** Deliveries of one round by how the other side answered. */
export interface Round {
  readonly accepted: number;
  /** not reached, or not able now */
  readonly later: number;
}

export interface CarrierEvents {
  accepted(delivery: DueDelivery, status: string): void;
  abandoned(delivery: DueDelivery, why: string): void;
  /** it did not go this time and will be tried again */
  retried?(delivery: DueDelivery, why: string): void;
  /** after each round: what was last wrong, and how the other side answered */
  state(lastError: string, round: Round): void;
  trouble(cause: Error): void;
}

/** Carried at the same time, each about another subject. */
const AT_ONCE = 16;
/** Retries that fall due and other workers' leftovers are looked for this often. */
const LOOK_EVERY_MS = 500;

export class Carrier {
  private running: Promise<void> | undefined;
  private timer: NodeJS.Timeout | undefined;
  private again = false;
  private closed = false;

  constructor(
    private readonly ledger: Ledger,
    private readonly target: Target,
    private readonly settings: CarrierSettings,
    private readonly events: CarrierEvents,
  ) {}

  poke(): void {
    if (this.closed) return;
    this.again = true;
    this.running ??= this.run().finally(() => {
      this.running = undefined;
      this.lookLater();
    });
  }

  /** Stops claiming, breaks off what is under way (it will be carried again), and lets go. */
  async close(): Promise<void> {
    this.closed = true;
    clearTimeout(this.timer);
    await this.target.close();
    await this.running;
  }

  private lookLater(): void {
    clearTimeout(this.timer);
    if (this.closed) return;
    this.timer = setTimeout(() => this.poke(), LOOK_EVERY_MS);
    this.timer.unref();
  }

  private async run(): Promise<void> {
    try {
      while (this.again && !this.closed) {
        this.again = false;
        const { destination, leaseMs } = this.settings;
        const due = await this.ledger.claimDue(destination, AT_ONCE, leaseMs);
        const answers = await Promise.all(due.map((d) => this.carry(d)));
        if (due.length > 0) {
          this.again = true;
          const count = (kind: Answer['kind']) => answers.filter((answer) => answer.kind === kind).length;
          this.events.state(lastError(answers), { accepted: count('accepted'), later: count('later') });
        }
      }
    } catch (cause) {
      this.events.trouble(cause as Error);
    }
  }

  private async carry(delivery: DueDelivery): Promise<Answer> {
    const answer = await this.target.offer(delivery);
    const nowUs = this.ledger.clockUs();
    if (answer.kind === 'accepted') {
      await this.ledger.accepted(delivery.seq, nowUs, answer.status);
      this.events.accepted(delivery, answer.status);
      return answer;
    }
    if (this.givesUp(delivery, answer, nowUs)) {
      await this.ledger.abandoned(delivery.seq, nowUs, answer.why);
      this.events.abandoned(delivery, answer.why);
    } else {
      const againAtUs = nowUs + Math.round(1000 * this.pauseMs(delivery, answer));
      await this.ledger.failed(delivery.seq, answer.why, againAtUs, answer.kind === 'refused');
      this.events.retried?.(delivery, answer.why);
    }
    return answer;
  }

  private givesUp({ refusals, enqueuedAtUs }: DueDelivery, answer: Answer, nowUs: number): boolean {
    if (this.closed) return false;
    if (answer.kind === 'refused' && refusals + 1 >= this.settings.refusals) return true;
    return this.settings.maxAgeMs > 0 && nowUs - enqueuedAtUs > 1000 * this.settings.maxAgeMs;
  }

  private pauseMs({ attempts }: DueDelivery, answer: Answer): number {
    const doubled = Math.min(
      this.settings.longestPauseMs,
      this.settings.firstPauseMs * 2 ** Math.min(30, attempts - 1),
    );
    const jittered = doubled * (0.5 + Math.random() / 2);
    return answer.kind === 'later' && answer.afterMs !== undefined ? Math.max(answer.afterMs, jittered) : jittered;
  }
}

const lastError = (answers: readonly Answer[]): string => {
  const wrong = answers.findLast((answer) => answer.kind !== 'accepted');
  return wrong?.why ?? '';
};
