/** Lets one of many pass: a stream has more frames than a record needs. */
export class Thinning {
  private readonly lastUs = new Map<string, number>();

  /** @param everyUs least time between two that pass, microseconds; 0: all pass */
  constructor(private readonly everyUs: number) {}

  /** Whether what has this key and time passes. A time well before the last, as after a clock was set, begins anew. */
  passes(key: string, us: number): boolean {
    const last = this.lastUs.get(key);
    const since = last === undefined ? this.everyUs : us - last;
    if (since >= 0 && since < this.everyUs) return false;
    this.lastUs.set(key, us);
    return true;
  }
}
