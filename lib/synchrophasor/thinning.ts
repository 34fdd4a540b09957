/** Datagrams may overtake each other by this much; a time further back is that of a source that began anew. */
const OVERTAKEN_US = 10e6;

/** Lets one of many pass: a stream has more frames than a record needs. */
export class Thinning {
  private readonly lastUs = new Map<string, number>();

  /** @param everyUs least time between two that pass, microseconds; 0: all pass */
  constructor(private readonly everyUs: number) {}

  /** Whether what has this key and time would pass. */
  isDue(key: string, us: number): boolean {
    const last = this.lastUs.get(key);
    if (last === undefined || this.everyUs === 0) return true;
    const since = us - last;
    return since >= this.everyUs || since < -OVERTAKEN_US;
  }

  /** Whether it passes; then it counts as the last one. */
  passes(key: string, us: number): boolean {
    if (!this.isDue(key, us)) return false;
    this.lastUs.set(key, us);
    return true;
  }
}
