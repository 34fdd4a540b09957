/** What the node shows of itself, chosen from what is going on. */
import type { Door } from './door';

export interface Face {
  readonly fill: 'red' | 'green' | 'yellow' | 'blue' | 'grey';
  readonly shape: 'dot' | 'ring';
  /** key in the catalogue under `status` */
  readonly text: string;
  readonly values?: Readonly<Record<string, string | number>>;
}

/** A commit that takes longer than this is worth a word. */
export const SLOW_MS = 2000;
/** Something that went wrong with the session stays in view this long. */
const REMIND_MS = 600_000;

export class FaceMaker {
  private storedBefore = 0;
  private mishapsBefore = 0;
  private mishapAtMs = Number.NEGATIVE_INFINITY;
  private lookedAtMs = performance.now();

  constructor(private readonly door: Door) {}

  now(): Face {
    const { storing, session } = this.door;
    const rate = this.rate();
    const { waitsMs } = storing;
    if (storing.trouble !== '' || waitsMs > SLOW_MS) {
      return { fill: 'red', shape: 'ring', text: 'ledger-away', values: { s: Math.round(waitsMs / 1000) } };
    }
    if (!session) return { fill: 'green', shape: 'dot', text: 'input-only', values: { rate } };
    if (session.state === 'connected')
      return this.mishap() ?? { fill: 'green', shape: 'dot', text: 'connected', values: { rate } };
    if (session.state === 'waiting') return { fill: 'red', shape: 'ring', text: 'disconnected' };
    return { fill: 'yellow', shape: 'ring', text: session.state === 'standing-back' ? 'standing-back' : 'connecting' };
  }

  private mishap(): Face | undefined {
    const { sessionsLost, takenOver } = this.door.session!.facts;
    if (sessionsLost + takenOver !== this.mishapsBefore) {
      this.mishapsBefore = sessionsLost + takenOver;
      this.mishapAtMs = performance.now();
    }
    if (performance.now() - this.mishapAtMs > REMIND_MS) return undefined;
    const text = takenOver > 0 ? 'taken-over' : 'session-lost';
    return { fill: 'yellow', shape: 'dot', text, values: { times: takenOver || sessionsLost } };
  }

  /** Readings stored a second since the last look, in at most four characters. */
  private rate(): string {
    const nowMs = performance.now();
    const perS = ((this.door.counts.stored - this.storedBefore) * 1000) / Math.max(1, nowMs - this.lookedAtMs);
    this.storedBefore = this.door.counts.stored;
    this.lookedAtMs = nowMs;
    if (perS < 1) return perS > 0 ? '<1' : '0';
    return perS < 1000 ? String(Math.round(perS)) : `${(perS / 1000).toFixed(perS < 9950 ? 1 : 0)}k`;
  }
}
