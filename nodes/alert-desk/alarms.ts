/** Wakes the desk when time alone moves an alert: a shelf that ends, a delay that is over. What is due stands in the alert itself. */
import { dueAtUs } from '../../lib/alert-transition';
import type { Alert } from '../../lib/records';

/** setTimeout takes no more; the desk looks again long before. */
const LONGEST_MS = 2 ** 31 - 1;
const SOONEST_MS = 5;

export class Alarms {
  private readonly timers = new Map<string, NodeJS.Timeout>();
  private closed = false;

  constructor(
    private readonly nowUs: () => number,
    private readonly wake: (key: string) => void,
  ) {}

  /** Sets the alarm of an alert anew, or takes it away. */
  set(alert: Alert): void {
    clearTimeout(this.timers.get(alert.key));
    this.timers.delete(alert.key);
    const dueUs = dueAtUs(alert);
    if (dueUs === undefined || this.closed) return;
    const ms = Math.min(LONGEST_MS, Math.max(SOONEST_MS, (dueUs - this.nowUs()) / 1000));
    const timer = setTimeout(() => {
      this.timers.delete(alert.key);
      this.wake(alert.key);
    }, ms);
    timer.unref();
    this.timers.set(alert.key, timer);
  }

  close(): void {
    this.closed = true;
    for (const timer of this.timers.values()) clearTimeout(timer);
    this.timers.clear();
  }
}
