/**
 * Claims of one worker, renewed while it lives. A worker that dies, freezes or loses the ledger stops renewing; when its lease is over the
 * others take its claims at their next beat. A worker that is not sure to hold a claim any more acts as if it did not.
 */
import { randomBytes } from 'node:crypto';
import type { Claim, Sharing } from './sharing';

/** A claim of a worker that is gone is free after this. */
export const LEASE_MS = 5000;
/** Claims are renewed, and free ones taken, this often. A worker that is gone is replaced within lease and beat. */
export const BEAT_MS = 1000;
/** The worker stops believing in its lease this much before the ledger ends it. */
const MARGIN_MS = 1000;

export interface HolderEvents {
  /** claims that were not held before, or were lost in between */
  gained(names: readonly string[]): void;
  lost(names: readonly string[]): void;
  /** whether a claim that another should have may be given back now */
  mayLeave(name: string): boolean;
}

/** A clock that counts while the machine sleeps, and does not go back when the clock is set. */
const clocks = () => ({ steadyMs: performance.now(), wallMs: Date.now() });
const since = (then: ReturnType<typeof clocks>) =>
  Math.max(performance.now() - then.steadyMs, Date.now() - then.wallMs);

export class Holder {
  /** holders alive, as of the last beat */
  holders = 0;
  /** claims that are to be given back as soon as they may */
  readonly leaving = new Set<string>();
  private readonly terms = new Map<string, number>();
  private readonly holder: string;
  private renewed: ReturnType<typeof clocks> | undefined;
  private timer: NodeJS.Timeout | undefined;
  private beating: Promise<void> | undefined;
  private closed = false;

  /** @param instance name of this worker; each start of it is another holder, so that two of one name never hold one claim */
  constructor(
    private readonly sharing: Sharing,
    private readonly scope: string,
    instance: string,
    private readonly names: readonly string[],
    private readonly events: HolderEvents,
  ) {
    this.holder = `${instance}:${randomBytes(6).toString('hex')}`;
  }

  /** Resolves after the first beat. */
  start(): Promise<void> {
    return this.beat();
  }

  /** What this worker holds for certain. */
  get held(): ReadonlySet<string> {
    if (!this.renewed || since(this.renewed) > LEASE_MS - MARGIN_MS) return NONE;
    return new Set(this.terms.keys());
  }

  holds(name: string): boolean {
    return this.held.has(name);
  }

  /** `keepsClaims`: they lapse by themselves, as if this worker had died. */
  async close({ keepsClaims = false } = {}): Promise<void> {
    this.closed = true;
    clearTimeout(this.timer);
    await this.beating;
    this.terms.clear();
    if (!keepsClaims) await this.sharing.leave(this.scope, this.holder).catch(() => undefined);
  }

  private beat(): Promise<void> {
    this.beating = this.renew()
      .catch(() => this.check())
      .finally(() => {
        if (this.closed) return;
        this.timer = setTimeout(() => void this.beat(), BEAT_MS);
        this.timer.unref();
      });
    return this.beating;
  }

  private async renew(): Promise<void> {
    const asked = clocks();
    const giveBack = [...this.leaving].filter((name) => this.events.mayLeave(name));
    this.drop(giveBack);
    const { scope, holder, names } = this;
    const { claims, holders } = await this.sharing.hold({ scope, holder, names, giveBack, leaseMs: LEASE_MS });
    if (this.closed) return;
    this.renewed = asked;
    this.holders = holders;
    this.note(claims);
    this.chooseLeaving();
  }

  /** The ledger does not answer: what may have run out counts as lost. */
  private check(): void {
    if (this.held.size === 0) this.drop([...this.terms.keys()]);
  }

  private note(claims: readonly Claim[]): void {
    const now = new Map(claims.map(({ name, term }) => [name, term]));
    this.drop([...this.terms].filter(([name, term]) => now.get(name) !== term).map(([name]) => name));
    const gained = claims.filter(({ name }) => !this.terms.has(name));
    for (const { name, term } of gained) this.terms.set(name, term);
    if (gained.length > 0) this.events.gained(gained.map(({ name }) => name));
  }

  private drop(names: readonly string[]): void {
    for (const name of names) {
      this.terms.delete(name);
      this.leaving.delete(name);
    }
    if (names.length > 0) this.events.lost(names);
  }

  /** Others came: what is more than an even share goes to them. */
  private chooseLeaving(): void {
    const share = Math.ceil(this.names.length / Math.max(1, this.holders));
    const surplus = [...this.terms.keys()].slice(share);
    this.leaving.clear();
    for (const name of surplus) this.leaving.add(name);
  }
}

const NONE: ReadonlySet<string> = new Set();
