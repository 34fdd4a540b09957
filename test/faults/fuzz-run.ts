import { openDoors } from './fuzz-doors';
import { Hostile } from './fuzz-input';
import type { DoorCase } from './fuzz-sound';

export interface Failure {
  readonly door: string;
  readonly seed: number;
  readonly error: Error;
}
export interface FuzzResult {
  readonly cases: Readonly<Record<string, number>>;
  readonly failures: readonly Failure[];
}

const MOST_FAILURES = 20;
/** Doors that ask a database or an interpreter, or work through many samples, get a smaller share. */
const SHARE: Readonly<Record<string, number>> = {
  mapping: 0.2,
  ledger: 0.1,
  'address of a webhook': 0.3,
  'window of samples': 0.2,
  'samples as bytes': 0.2,
  'recording, ASCII': 0.2,
  'recording, binary': 0.2,
  'recording, single file': 0.2,
};

/** Case n of a door always has the seed `seed + n`: a failure is run again with `once`. */
/** @param only doors to try; all when left out */
export async function fuzz(count: number, seed: number, only: readonly string[] = []): Promise<FuzzResult> {
  const doors = await openDoors();
  const tried = Object.entries(doors.cases).filter(([door]) => only.length === 0 || only.includes(door));
  const cases: Record<string, number> = {};
  const failures: Failure[] = [];
  const shares = tried.map(([door]) => SHARE[door] ?? 1);
  const whole = shares.reduce((sum, n) => sum + n, 0);
  for (const [i, [door, attempt]] of tried.entries()) {
    const own = Math.ceil((count * shares[i]!) / whole);
    for (let n = 0; n < own && failures.length < MOST_FAILURES; n++) {
      const error = await once(attempt, seed + n);
      if (error) failures.push({ door, seed: seed + n, error });
    }
    cases[door] = own;
  }
  await doors.close();
  return { cases, failures };
}

async function once(attempt: DoorCase, seed: number): Promise<Error | undefined> {
  try {
    const running = attempt(new Hostile(seed));
    if (running) await running;
    return undefined;
  } catch (cause) {
    return cause as Error;
  }
}
