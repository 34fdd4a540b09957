/** The desk with all that belongs to it, once the ledger is open: what it saves is announced, what is held back is told, status shows both. */

import { LRUCache } from 'lru-cache';
import type { Node, NodeAPI } from 'node-red';
import { floodCondition, floodKey } from '../../lib/alert-flood';
import type { AlertDelays } from '../../lib/alert-life-cycle';
import { isQuiet } from '../../lib/alert-transition';
import type { Alert } from '../../lib/records';
import type { FlowMessage } from '../kit/serve';
import type { StatusLight } from '../kit/status';
import type { Ledger } from '../ledger/ledger';
import { Announcer } from './announcer';
import { Desk } from './desk';
import { Lanes, laneOf } from './lanes';
import { OpenAlerts } from './open-alerts';

export interface DeskSettings {
  readonly RED: NodeAPI;
  readonly node: Node;
  readonly light: StatusLight;
  readonly delays: AlertDelays;
  readonly perMinute: number;
  readonly nowUs: () => number;
}

/** Shelves and delays that other workers began, or that could not be ended in time, are taken up this often. */
const TAKE_UP_MS = 30_000;
/** Messages remembered until the transition they led to is sent. */
const MESSAGES = 10_000;

export class OpenDesk {
  readonly desk: Desk;
  private readonly announcer: Announcer;
  private readonly alerts = new OpenAlerts();
  private readonly causes = new LRUCache<string, FlowMessage>({ max: MESSAGES });
  private readonly stopHearing: () => void;
  private held = 0;
  private mostHeld = 0;
  private timer: NodeJS.Timeout | undefined;

  static async at(ledger: Ledger, settings: DeskSettings): Promise<OpenDesk> {
    const open = new OpenDesk(ledger, settings);
    try {
      await open.begin();
    } catch (cause) {
      await open.close();
      throw cause;
    }
    open.announcer.poke();
    return open;
  }

  private constructor(
    private readonly ledger: Ledger,
    private readonly settings: DeskSettings,
  ) {
    const { node, nowUs, delays, perMinute } = settings;
    const trouble = (cause: Error) => node.error(cause.message);
    const lanes = new Lanes(ledger, node.id);
    const tell = (alert: Alert) => [lanes.deliveryOf(alert)];
    const saved = (alert: Alert, cause: object | undefined) => this.saved(alert, cause);
    this.desk = new Desk(ledger, { nowUs, delays, tell, saved, trouble });
    this.stopHearing = ledger.onCommit((records) => {
      for (const record of records) if (record.kind === 'alert') this.heard(record);
    });
    this.announcer = new Announcer(lanes, {
      perMinute,
      nowUs: () => ledger.clockUs(),
      steadyUs: () => performance.now() * 1000,
      send: (alert) => this.send(alert),
      isShared: ledger.sharing !== undefined,
      flood: (alerts, isAll) => this.flood(alerts, isAll).catch(trouble),
      trouble,
    });
  }

  async close(): Promise<void> {
    clearInterval(this.timer);
    this.stopHearing();
    // At the same time: the ledger is closing as well.
    await Promise.all([this.desk.close(), this.announcer.close()]);
  }

  private async begin(): Promise<void> {
    await this.alerts.begin(this.desk.open());
    await this.desk.takeUp();
    this.show();
    this.timer = setInterval(() => {
      this.desk.takeUp(2 * TAKE_UP_MS).catch((cause: Error) => this.settings.node.error(cause.message));
    }, TAKE_UP_MS);
    this.timer.unref();
  }

  private heard(alert: Alert): void {
    this.desk.heard(alert);
    if (alert.active && alert.key === floodKey(this.subject)) this.announcer.watchFlood();
    this.alerts.note(alert);
    this.show();
  }

  private saved(alert: Alert, cause: object | undefined): void {
    this.alerts.note(alert);
    this.show();
    if (isQuiet(alert)) return;
    // Of several workers another may send it, and then nobody asks for its message here.
    if (cause) this.causes.set(alert.id, cause as FlowMessage);
    this.announcer.poke(laneOf(alert));
  }

  /** With all that the message carried which led to it; after a restart nobody knows that any more. */
  private send(alert: Alert): void {
    const cause = this.causes.get(alert.id);
    this.causes.delete(alert.id);
    this.settings.node.send({ ...cause, payload: alert, topic: alert.key } as never);
  }

  private get subject(): string {
    const { node } = this.settings;
    return node.name || node.id;
  }

  private async flood(held: readonly Alert[], isAll: boolean): Promise<void> {
    this.held = held.length;
    this.mostHeld = Math.max(this.mostHeld, held.length);
    const most = this.mostHeld;
    if (held.length === 0) this.mostHeld = 0;
    this.show();
    const { subject, ledger } = this;
    const [before] = await ledger.alerts({ keys: [floodKey(subject)] });
    // By the clock that all workers have in common: what is older changes nothing.
    await this.desk.condition(floodCondition(subject, held, isAll, most, ledger.clockUs(), before));
  }

  private show(): void {
    const { RED, light } = this.settings;
    const { open, unseen } = this.alerts;
    const fill = unseen > 0 ? 'red' : open > 0 ? 'yellow' : 'green';
    const words = this.held > 0 ? 'held' : 'open';
    light.show(fill, 'dot', () =>
      RED._(`phaseloom-alert-desk.status.${words}`, { open, unseen, held: this.held } as never),
    );
  }
}
