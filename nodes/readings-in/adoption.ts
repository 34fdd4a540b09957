/**
 * Sessions that workers which are gone left at the broker. A broker goes on handing messages to a session that nobody reads, and when that
 * session runs out some brokers throw them away; so a worker that lives reads them to their end and lets the broker forget the session.
 * A worker that comes back takes its session by connecting: who has it loses the connection, and does not open it again.
 */
import { Backoff } from '../kit/backoff';
import { Holder } from '../kit/holder';
import type { Sharing } from '../kit/sharing';
import type { Session } from './session';

/** A worker that is only restarted finds its session as it left it. */
const GONE_AFTER_MS = 10_000;
const LOOK_MS = 2000;
const TICK_MS = 1000;
/** Read for at least so long, and with nothing waiting to be stored for so many ticks, before the session takes nothing new any more. */
const READ_MS = 5000;
const CALM_TICKS = 3;
/** Then what was under way has this long to come. */
const REST_MS = 3000;
/** A session whose owner took it, and whose owner again seems gone, is left alone for longer each time: it may be there and not say so. */
const LEFT_ALONE = { firstMs: 30_000, mostMs: 900_000, stableMs: Number.POSITIVE_INFINITY };

export interface AdoptionOptions {
  /** what the workers have in common: door and broker */
  readonly scope: string;
  readonly instance: string;
  readonly clientId: string;
  /** a session with the client id of a worker that is gone */
  readonly open: (clientId: string) => Session;
  /** messages wait to be stored, more than a moment's worth */
  readonly isBusy: () => boolean;
  readonly note: (text: string) => void;
}

interface Adopted {
  readonly clientId: string;
  readonly session: Session;
  readonly holder: Holder;
  readonly sinceMs: number;
  calmTicks: number;
  lastReadMs: number;
  leftMs: number | undefined;
}

export class Adoption {
  private readonly own: Holder;
  private adopted: Adopted | undefined;
  private timer: NodeJS.Timeout | undefined;
  private lookedMs = 0;
  private closed = false;
  private ticking: Promise<void> | undefined;
  private readonly leftAlone = new Map<string, { readonly backoff: Backoff; untilMs: number }>();

  constructor(
    private readonly sharing: Sharing,
    private readonly options: AdoptionOptions,
  ) {
    this.own = this.holderOf(options.clientId);
  }

  async start(): Promise<void> {
    await this.own.start();
    this.timer = setInterval(() => {
      this.ticking ??= this.tick()
        .catch(() => undefined) // the ledger is away: looked at again
        .finally(() => {
          this.ticking = undefined;
        });
    }, TICK_MS);
  }

  /** There is room for more messages. */
  resume(): void {
    this.adopted?.session.resume();
  }

  /** A message of the adopted session came. */
  read(): void {
    if (this.adopted) this.adopted.lastReadMs = performance.now();
  }

  /** `removed`: the own session is gone from the broker, and nobody need look for it. */
  async close(removed: boolean): Promise<void> {
    this.closed = true;
    clearInterval(this.timer);
    await this.ticking;
    await this.giveUp();
    await this.own.close({ keepsClaims: !removed });
    if (removed) await this.sharing.forget(this.options.scope, this.options.clientId).catch(() => undefined);
  }

  private async tick(): Promise<void> {
    if (this.closed) return;
    if (this.adopted) return this.goOn(this.adopted);
    if (performance.now() - this.lookedMs < LOOK_MS) return;
    const nowMs = performance.now();
    this.lookedMs = nowMs;
    const lapsed = await this.sharing.lapsed(this.options.scope, GONE_AFTER_MS);
    const mayRead = (name: string) =>
      name !== this.options.clientId && nowMs >= (this.leftAlone.get(name)?.untilMs ?? 0);
    const clientId = lapsed.find(mayRead);
    if (clientId !== undefined) await this.adopt(clientId);
  }

  private async adopt(clientId: string): Promise<void> {
    const holder = this.holderOf(clientId);
    await holder.start();
    if (!holder.holds(clientId) || this.closed) return holder.close({ keepsClaims: true });
    const nowMs = performance.now();
    const session = this.options.open(clientId);
    this.adopted = { clientId, session, holder, sinceMs: nowMs, lastReadMs: nowMs, calmTicks: 0, leftMs: undefined };
    session.start({ isBorrowed: true });
    this.options.note(`reading on for ${clientId}, whose worker is gone`);
  }

  private async goOn(adopted: Adopted): Promise<void> {
    const { session, holder, clientId } = adopted;
    const nowMs = performance.now();
    if (session.state === 'ended') {
      const { backoff } = this.leftAlone.get(clientId) ?? { backoff: new Backoff(LEFT_ALONE) };
      this.leftAlone.set(clientId, { backoff, untilMs: nowMs + backoff.next(0) });
      this.options.note(`no longer reading for ${clientId}: ${session.lastError || 'the ledger takes nothing'}`);
      return this.giveUp();
    }
    if (!holder.holds(clientId)) return this.giveUp();
    adopted.calmTicks = this.options.isBusy() || session.state !== 'connected' ? 0 : adopted.calmTicks + 1;
    if (adopted.leftMs === undefined) {
      if (nowMs - adopted.sinceMs < READ_MS || adopted.calmTicks < CALM_TICKS) return;
      session.leaveTopics();
      adopted.leftMs = nowMs;
    } else if (nowMs - Math.max(adopted.leftMs, adopted.lastReadMs) > REST_MS && adopted.calmTicks > 0) {
      this.adopted = undefined;
      await session.end(true);
      await holder.close({ keepsClaims: true });
      await this.sharing.forget(this.options.scope, clientId);
      this.options.note(`the session of ${clientId} was read to its end`);
    }
  }

  /** The claim lapses: its worker takes it when it is back, and another looks after the session when it is not. */
  private async giveUp(): Promise<void> {
    const { adopted } = this;
    this.adopted = undefined;
    if (!adopted) return;
    await adopted.session.end(false);
    await adopted.holder.close({ keepsClaims: true });
  }

  private holderOf(clientId: string): Holder {
    const { scope, instance } = this.options;
    return new Holder(this.sharing, scope, instance, [clientId], {
      gained: () => undefined,
      lost: () => undefined,
      mayLeave: () => false,
    });
  }
}
