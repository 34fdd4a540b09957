/** The lanes in which transitions wait for their turn: the flood notice first, then by priority. Each is a destination in the outbox. */
import type { Alert } from '../../lib/records';
import type { Delivery, DueDelivery, Ledger } from '../ledger/ledger';

export const LANES = ['notice', 'high', 'medium', 'low'] as const;
export type Lane = (typeof LANES)[number];

/** A transition that was taken and neither sent nor given back in this time is sent by another worker, or after a restart. */
const LEASE_MS = 5000;
/** Looked at in one lane to say how many are held. */
const COUNTED = 1000;

export const laneOf = ({ category, priority }: Alert): Lane => (category === 'alert-flood' ? 'notice' : priority);

export class Lanes {
  /** @param desk one name for all workers of a desk */
  constructor(
    private readonly ledger: Ledger,
    private readonly desk: string,
  ) {}

  /** Transitions of one alert leave in their order. */
  deliveryOf(alert: Alert): Delivery {
    return { destination: this.name(laneOf(alert)), key: alert.id, subject: alert.key, record: alert };
  }

  claim(lane: Lane, limit: number): Promise<readonly DueDelivery[]> {
    return this.ledger.claimDue(this.name(lane), limit, LEASE_MS);
  }

  sent(seq: number, nowUs: number): Promise<void> {
    return this.ledger.accepted(seq, nowUs, 'sent');
  }

  giveBack(seq: number): Promise<void> {
    return this.ledger.failed(seq, 'the desk closed before it had time to arrive', 0);
  }

  /** What waits in the lanes that are held back; not isAll: more than these. */
  async waiting(
    except: ReadonlySet<number>,
  ): Promise<{ readonly due: readonly DueDelivery[]; readonly isAll: boolean }> {
    const asked = LANES.slice(1).map((lane) =>
      this.ledger.deliveries({ destination: this.name(lane), state: 'waiting', limit: COUNTED }),
    );
    const waiting = await Promise.all(asked);
    return {
      due: waiting.flatMap((lane) => lane.filter((d) => !except.has(d.seq))),
      isAll: waiting.every((lane) => lane.length < COUNTED),
    };
  }

  private name(lane: Lane): string {
    return `alert-desk:${this.desk}:${lane}`;
  }
}
