/** Fault tests run at reduced size with the others; `npm run faults` runs them at full size. */
export const isFull = process.env.PHASELOOM_FAULTS === 'full';
export const scaled = (reduced: number, full: number): number => (isFull ? full : reduced);

export interface Tally {
  readonly published: number;
  /** distinct, where they had to arrive */
  readonly arrived: number;
  /** stored or processed more than once */
  readonly duplicates: number;
  readonly [more: string]: number;
}

/** One line per fault, for people: the figures the checks rest on. */
export function tell(fault: string, tally: Tally): void {
  const figures = Object.entries(tally).map(([name, n]) => `${name} ${n}`);
  console.log(`      ${fault}: ${figures.join(', ')}, lost ${tally.published - tally.arrived}`);
}

/** mulberry32: the moments and orders of the faults are the same in every run. */
export function seeded(seed: number): () => number {
  let a = seed;
  return () => {
    a = (a + 0x6d2b79f5) | 0;
    let t = Math.imul(a ^ (a >>> 15), 1 | a);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

export function shuffled<T>(items: readonly T[], chance: () => number): T[] {
  const mixed = [...items];
  for (let i = mixed.length - 1; i > 0; i--) {
    const j = Math.floor(chance() * (i + 1));
    [mixed[i], mixed[j]] = [mixed[j]!, mixed[i]!];
  }
  return mixed;
}

/** Whether it came to hold in time: what follows looks at figures that say more, or at this. */
export async function until(holds: () => boolean | Promise<boolean>, withinMs: number): Promise<boolean> {
  for (const deadline = Date.now() + withinMs; Date.now() < deadline; ) {
    if (await holds()) return true;
    await new Promise((r) => setTimeout(r, 50));
  }
  return false;
}
