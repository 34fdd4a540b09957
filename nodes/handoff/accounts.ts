/** What the node tells of its deliveries: messages on its two ports, status, counts, and outages in the log. */
import type { Node, NodeAPI } from 'node-red';
import { Outage } from '../kit/outage';
import type { StatusLight } from '../kit/status';
import { showVitalSigns } from '../kit/vital-signs';
import type { DueDelivery, Ledger } from '../ledger/ledger';
import type { CarrierEvents, Round } from './carrier';

export class Accounts {
  /** what was last wrong, or empty */
  lastError = '';
  private readonly counts = { accepted: 0, retried: 0, abandoned: 0 };
  private readonly outage: Outage;

  constructor(
    private readonly RED: NodeAPI,
    private readonly node: Node,
    private readonly light: StatusLight,
    private readonly destination: string,
  ) {
    const text = (key: string, values: object) =>
      RED._(`phaseloom-handoff.log.${key}`, values as Record<string, string>);
    this.outage = new Outage({
      began: (why) => node.warn(text('away', { why })),
      ended: (figures) => node.log(text('back', figures)),
    });
    showVitalSigns(node, { counters: () => this.counts, trouble: () => this.lastError || undefined });
    this.opened();
  }

  opened(): void {
    this.lastError = '';
    this.light.show('grey', 'ring', this.RED._('phaseloom-handoff.status.waiting'));
  }

  /** The ledger cannot be opened; it is tried again. */
  notOpen(cause: Error): void {
    this.lastError = cause.message;
    this.node.error(cause.message);
    this.light.show('red', 'ring', this.RED._('phaseloom-handoff.status.ledger'));
  }

  close(): void {
    this.light.close();
    this.outage.close();
  }

  of(ledger: Ledger): CarrierEvents {
    return {
      accepted: (delivery, status) => {
        this.counts.accepted++;
        this.node.send([this.message(delivery, { status }), null] as never);
      },
      abandoned: (delivery, why) => {
        this.counts.abandoned++;
        this.node.send([null, this.message(delivery, { error: why })] as never);
      },
      retried: () => this.counts.retried++,
      state: (error, round) => {
        this.lastError = error;
        // A ledger that is away is told by the carrier.
        this.show(ledger, error, round).catch(() => undefined);
      },
      trouble: (cause) => this.node.error(cause.message),
    };
  }

  private async show(ledger: Ledger, error: string, { accepted, later }: Round): Promise<void> {
    const { destination, RED, light } = this;
    const waiting = (await ledger.deliveries({ destination, state: 'waiting', limit: 1000 })).length;
    if (error === '') light.show('green', 'dot', RED._('phaseloom-handoff.status.delivered', { waiting }));
    else light.show('yellow', 'ring', RED._('phaseloom-handoff.status.retrying', { waiting }));
    if (later > 0 && accepted === 0) this.outage.goesOn(error, waiting);
    else if (later === 0 && accepted > 0) this.outage.over();
  }

  private message({ key, record, subject, attempts }: DueDelivery, what: object): object {
    const { destination } = this;
    return { payload: record, topic: subject, handoff: { destination, key, attempts, ...what } };
  }
}
