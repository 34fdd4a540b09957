/**
 * Sends saved transitions into the flow, in the order in which they were saved, from a place kept in the ledger: what was saved and
 * not sent before a restart is sent after it. No more than so many a minute; the rest waits its turn and is counted.
 */
import type { Alert } from '../../lib/records';
import type { Ledger } from '../ledger/ledger';

const PAGE = 200;
const MINUTE_MS = 60_000;
const RETRY_MS = 1000;

export class Caller {
  /** transitions known to wait because too many came at once */
  held = 0;
  private running: Promise<void> | undefined;
  private again = false;
  private closed = false;
  private timer: NodeJS.Timeout | undefined;
  private sentAt: number[] = [];

  constructor(
    private readonly ledger: Ledger,
    private readonly place: string,
    private readonly mostPerMinute: number,
    private readonly send: (alert: Alert) => void,
    private readonly trouble: (cause: Error) => void,
  ) {}

  /** Something was saved, or may have been. */
  poke(): void {
    if (this.closed) return;
    this.again = true;
    this.running ??= this.run().finally(() => {
      this.running = undefined;
    });
  }

  async close(): Promise<void> {
    this.closed = true;
    clearTimeout(this.timer);
    await this.running;
  }

  private async run(): Promise<void> {
    try {
      while (this.again && !this.closed) {
        this.again = false;
        await this.sendWaiting();
      }
    } catch (cause) {
      this.trouble(cause as Error);
      this.later(RETRY_MS);
    }
  }

  private async sendWaiting(): Promise<void> {
    const waiting = await this.ledger.alertTransitionsAfter(await this.ledger.cursor(this.place), PAGE);
    let sent = 0;
    for (const { seq, alert } of waiting) {
      const pauseMs = this.pauseMs();
      if (pauseMs > 0 || this.closed) {
        this.later(pauseMs);
        break;
      }
      this.sentAt.push(Date.now());
      this.send(alert);
      sent++;
      await this.ledger.advance(this.place, seq);
    }
    this.held = waiting.length - sent;
    if (sent === PAGE) this.again = true;
  }

  private pauseMs(): number {
    const now = Date.now();
    this.sentAt = this.sentAt.filter((at) => now - at < MINUTE_MS);
    return this.sentAt.length < this.mostPerMinute ? 0 : this.sentAt[0]! + MINUTE_MS - now;
  }

  private later(ms: number): void {
    clearTimeout(this.timer);
    if (this.closed) return;
    this.timer = setTimeout(() => this.poke(), ms);
    this.timer.unref();
  }
}
