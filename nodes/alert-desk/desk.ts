/**
 * The desk: conditions and actions in, saved transitions out. State lives in the ledger; a transition is saved only on top of the
 * revision it was made from, so that several desks on one ledger never lose each other's work.
 */
import { applyAction, type OperatorAction } from '../../lib/alert-actions';
import { type Condition, contradicts } from '../../lib/alert-condition';
import { type AlertDelays, applyCondition, applyDue } from '../../lib/alert-life-cycle';
import { type AlertStep, dueAtUs, isQuiet, UNCHANGED } from '../../lib/alert-transition';
import type { Alert } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import type { Delivery, Ledger } from '../ledger/ledger';
import { Alarms } from './alarms';
import { KnownAlerts } from './known-alerts';
import { isOutdated } from './newer-finding';
import { Noted } from './noted';

/** Another desk was quicker this many times in a row: something is wrong. */
const ATTEMPTS = 20;

export interface DeskOptions {
  readonly nowUs: () => number;
  readonly delays: AlertDelays;
  /** what must be told of a transition; saved with it, in one transaction */
  readonly tell: (alert: Alert) => readonly Delivery[];
  /** a transition was saved; cause: the message that led to it, when it was one */
  readonly saved: (alert: Alert, cause: object | undefined) => void;
  readonly trouble: (cause: Error) => void;
}

/** What one record of a message says. */
export interface Said {
  readonly condition: Condition;
  /** the message as it led to this */
  readonly cause: () => object;
}

type Make = (before: Alert | undefined, nowUs: number) => AlertStep | Promise<AlertStep>;

export class Desk {
  private readonly turns = new Map<string, Promise<unknown>>();
  private readonly noted = new Noted();
  private readonly alarms: Alarms;
  private readonly known: KnownAlerts;
  /** transitions saved by this desk */
  private changes = 0;
  /** revisions this desk saved last, by key */
  private readonly lastSaved = new Map<string, number>();

  constructor(
    private readonly ledger: Ledger,
    private readonly options: DeskOptions,
  ) {
    this.known = new KnownAlerts(ledger);
    this.alarms = new Alarms(options.nowUs, (key, dueUs) => void this.due(key, dueUs).catch(options.trouble));
  }

  /**
   * Takes up what a restart, the end of another worker or a ledger that was away interrupted: shelves and delays that end within a time.
   * Left out: all of them, so that a clock that is set back later makes none of them wait.
   */
  async takeUp(withinMs?: number): Promise<void> {
    const untilUs = withinMs === undefined ? Number.MAX_SAFE_INTEGER : this.options.nowUs() + withinMs * 1000;
    for (const alert of await this.ledger.alerts({ dueBeforeUs: untilUs })) this.alarms.set(this.noted.over(alert));
  }

  /**
   * Takes what was said, in order; gives for each what is underway, or nothing where it changes nothing: that something which is no
   * alert does not hold is most of what findings say, and one look at the ledger is enough for all of it.
   */
  async conditions(said: readonly Said[]): Promise<readonly (Promise<unknown> | undefined)[]> {
    const before = this.changes;
    const known = await this.known.of(said.map((s) => s.condition.key));
    const holds = before === this.changes;
    return said.map(({ condition, cause }) => {
      const { active, key } = condition;
      if (holds && !active && !known.has(key) && !this.turns.has(key)) return undefined;
      return this.condition(condition, cause());
    });
  }

  /** A transition was saved. If another worker did it, what time alone will do to it is watched here as well, should that worker go. */
  heard(alert: Alert): void {
    this.known.saved(alert);
    if (alert.revision > (this.lastSaved.get(alert.key) ?? 0)) this.alarms.set(alert);
  }

  condition(condition: Condition, cause?: object): Promise<Alert | undefined> {
    const make: Make = async (before, nowUs) => {
      const isNews = before ? contradicts(condition, before) : condition.active;
      if (isNews && (await isOutdated(this.ledger, condition))) return UNCHANGED;
      return applyCondition(before, condition, nowUs, this.options.delays);
    };
    return this.step(condition.key, make, cause);
  }

  async act(key: string, action: OperatorAction, cause?: object): Promise<Alert> {
    const make: Make = (before, nowUs) => {
      if (before) return applyAction(before, action, nowUs);
      throw new Trouble(
        'alert-unknown',
        `there is no alert ${JSON.stringify(key)}; the key stands in the alert record`,
      );
    };
    return (await this.step(key, make, cause))!;
  }

  open(): Promise<readonly Alert[]> {
    return this.ledger.alerts({ openOnly: true });
  }

  async close(): Promise<void> {
    this.alarms.close();
    await Promise.allSettled(this.turns.values());
  }

  /** @param dueUs the moment has come, whatever the clock was set to meanwhile */
  private due(key: string, dueUs: number): Promise<Alert | undefined> {
    const make: Make = (before, nowUs) => {
      if (!before) return UNCHANGED;
      return applyDue(before, dueAtUs(before) === dueUs ? Math.max(nowUs, dueUs) : nowUs);
    };
    return this.step(key, make, undefined);
  }

  /** One transition of one alert at a time. */
  private step(key: string, make: Make, cause: object | undefined): Promise<Alert | undefined> {
    const before = this.turns.get(key);
    const run = () => this.attempt(key, make, cause);
    const turn = before ? before.then(run, run) : run();
    this.turns.set(key, turn);
    const forget = () => {
      if (this.turns.get(key) === turn) this.turns.delete(key);
    };
    turn.then(forget, forget);
    return turn;
  }

  private async attempt(key: string, make: Make, cause: object | undefined): Promise<Alert | undefined> {
    for (let attempt = 0; attempt < ATTEMPTS; attempt++) {
      const stored = (await this.known.of([key])).get(key);
      const before = stored && this.noted.over(stored);
      const step = await make(before, this.options.nowUs());
      if (step.outcome === 'refused') throw new Trouble(step.code, `${key}: ${step.why}`);
      if (step.outcome === 'unchanged') return this.stays(before);
      if (stored && this.noted.takes(stored, step.alert)) return this.stays(this.noted.over(stored));
      if (await this.ledger.saveAlert(step.alert, isQuiet(step.alert) ? [] : this.options.tell(step.alert))) {
        this.changes++;
        this.known.saved(step.alert);
        this.lastSaved.set(key, step.alert.revision);
        this.alarms.set(step.alert);
        this.options.saved(step.alert, cause);
        return step.alert;
      }
      this.known.forget(key);
    }
    throw new Trouble('alert-contended', `${key}: another desk changed it ${ATTEMPTS} times in a row`);
  }

  private stays(alert: Alert | undefined): Alert | undefined {
    if (alert) this.alarms.set(alert);
    return alert;
  }
}
