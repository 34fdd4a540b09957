/**
 * Wakes the desk when time alone moves an alert: a shelf that ends, a delay that is over. What is due stands in the alert itself; how long
 * that is from now is worked out once, so that a clock set back in between makes nobody wait longer.
 */
import { dueAtUs } from '../../lib/alert-transition';
import type { Alert } from '../../lib/records';

/** setTimeout takes no more. */
const LONGEST_MS = 2 ** 31 - 1;
const SOONEST_MS = 5;

interface Alarm {
  readonly dueUs: number;
  readonly timer: NodeJS.Timeout;
}

export class Alarms {
  private readonly alarms = new Map<string, Alarm>();
  private closed = false;

  constructor(
    private readonly nowUs: () => number,
    private readonly wake: (key: string, dueUs: number) => void,
  ) {}

  /** Sets the alarm of an alert, or takes it away; one that runs for the same moment runs on. */
  set(alert: Alert): void {
    const { key } = alert;
    const dueUs = dueAtUs(alert);
    const running = this.alarms.get(key);
    if (running && running.dueUs === dueUs) return;
    clearTimeout(running?.timer);
    this.alarms.delete(key);
    if (dueUs === undefined || this.closed) return;
    const ms = Math.max(SOONEST_MS, (dueUs - this.nowUs()) / 1000);
    const timer = setTimeout(
      () => {
        this.alarms.delete(key);
        if (ms > LONGEST_MS) this.set(alert);
        else this.wake(key, dueUs);
      },
      Math.min(LONGEST_MS, ms),
    );
    timer.unref();
    this.alarms.set(key, { dueUs, timer });
  }

  close(): void {
    this.closed = true;
    for (const { timer } of this.alarms.values()) clearTimeout(timer);
    this.alarms.clear();
  }
}
