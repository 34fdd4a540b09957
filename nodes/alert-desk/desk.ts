/**
 * The desk: conditions and actions in, saved transitions out. State lives in the ledger; a transition is saved only on top of the
 * revision it was made from, so that several desks on one ledger never lose each other's work.
 */
import {
  type AlertStep,
  applyAction,
  applyCondition,
  applyShelfEnd,
  type Condition,
  type OperatorAction,
} from '../../lib/alert-life-cycle';
import { parseInstant } from '../../lib/instant';
import type { Alert } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import type { Ledger } from '../ledger/ledger';

/** Another desk was quicker this many times in a row: something is wrong. */
const ATTEMPTS = 20;
/** setTimeout takes no more. */
const LONGEST_TIMER_MS = 2 ** 31 - 1;

export interface DeskOptions {
  readonly nowUs: () => number;
  /** a condition that goes within this time after it came is taken for flapping, seconds */
  readonly holdS: number;
  readonly saved: () => void;
  readonly trouble: (cause: Error) => void;
}

export class Desk {
  private readonly turns = new Map<string, Promise<unknown>>();
  private readonly shelves = new Map<string, NodeJS.Timeout>();
  private closed = false;

  constructor(
    private readonly ledger: Ledger,
    private readonly options: DeskOptions,
  ) {}

  /** Takes up again what a restart interrupted: the ends of shelved alerts. */
  async start(): Promise<void> {
    for (const alert of await this.ledger.alerts({ openOnly: true })) this.watchShelf(alert);
  }

  async condition(condition: Condition): Promise<Alert | undefined> {
    const alert = await this.come(condition);
    return condition.momentary ? this.go({ ...condition, active: false }) : alert;
  }

  private go(condition: Condition): Promise<Alert | undefined> {
    return this.step(condition.key, (before, nowUs) => applyCondition(before, condition, nowUs));
  }

  private come(condition: Condition): Promise<Alert | undefined> {
    return this.step(condition.key, (before, nowUs) => {
      if (before && !condition.active && this.isFlapping(before, condition)) return { outcome: 'unchanged' };
      return applyCondition(before, condition, nowUs);
    });
  }

  async act(key: string, action: OperatorAction): Promise<Alert> {
    const alert = await this.step(key, (before, nowUs) => {
      if (!before)
        throw new Trouble(
          'alert-unknown',
          `there is no alert ${JSON.stringify(key)}; a key is category:subject, as in the alert record`,
        );
      return applyAction(before, action, nowUs);
    });
    return alert!;
  }

  async open(): Promise<readonly Alert[]> {
    return this.ledger.alerts({ openOnly: true });
  }

  async close(): Promise<void> {
    this.closed = true;
    for (const timer of this.shelves.values()) clearTimeout(timer);
    await Promise.allSettled(this.turns.values());
  }

  private isFlapping(before: Alert, condition: Condition): boolean {
    return (
      before.active && parseInstant(condition.evidenceAt) - parseInstant(before.evidenceAt) < this.options.holdS * 1e6
    );
  }

  /** One transition of one alert at a time. */
  private step(key: string, make: (before: Alert | undefined, nowUs: number) => AlertStep): Promise<Alert | undefined> {
    const turn = (this.turns.get(key) ?? Promise.resolve()).catch(() => undefined).then(() => this.attempt(key, make));
    this.turns.set(key, turn);
    const forget = () => {
      if (this.turns.get(key) === turn) this.turns.delete(key);
    };
    turn.then(forget, forget);
    return turn;
  }

  private async attempt(
    key: string,
    make: (before: Alert | undefined, nowUs: number) => AlertStep,
  ): Promise<Alert | undefined> {
    for (let attempt = 0; attempt < ATTEMPTS; attempt++) {
      const [before] = await this.ledger.alerts({ keys: [key] });
      const step = make(before, this.options.nowUs());
      if (step.outcome === 'refused') throw new Trouble(step.code, `${key}: ${step.why}`);
      if (step.outcome === 'unchanged') return before;
      if (await this.ledger.saveAlert(step.alert)) {
        this.watchShelf(step.alert);
        this.options.saved();
        return step.alert;
      }
    }
    throw new Trouble('alert-contended', `${key}: another desk changed it ${ATTEMPTS} times in a row`);
  }

  private watchShelf(alert: Alert): void {
    clearTimeout(this.shelves.get(alert.key));
    this.shelves.delete(alert.key);
    if (this.closed || alert.state !== 'shelved' || alert.shelvedUntil === undefined) return;
    const waitMs = (parseInstant(alert.shelvedUntil) - this.options.nowUs()) / 1000;
    const timer = setTimeout(() => this.shelfEnds(alert), Math.min(LONGEST_TIMER_MS, Math.max(0, waitMs)));
    timer.unref();
    this.shelves.set(alert.key, timer);
  }

  private shelfEnds(alert: Alert): void {
    this.step(alert.key, (before, nowUs) => (before ? applyShelfEnd(before, nowUs) : { outcome: 'unchanged' })).then(
      // Still shelved: the timer was cut short, or another desk shelved it anew.
      (after) => after && this.watchShelf(after),
      this.options.trouble,
    );
  }
}
