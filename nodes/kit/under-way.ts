/**
 * What nodes of the pack have taken and not finished, in this whole Node-RED. A flow tells nobody how far it has come: what comes in waits
 * by this, or readings would pile up in memory in front of a store that is slower than the broker, and count as finished long before they are.
 */
import { setTimeout as sleep } from 'node:timers/promises';

/** Records under way from which on nothing more is sent into flows. */
const MANY = 8000;
/** What takes longer is not waited for: it waits for something else, or its node is gone. */
const LONGEST_MS = 60_000;
const LOOK_MS = 10;

interface Work {
  readonly records: number;
  readonly sinceMs: number;
}

const works = new Set<Work>();
let records = 0;

/** Counts so many records as under way until this settles. */
export function underWay<T>(count: number, done: Promise<T>): Promise<T> {
  const work = { records: count, sinceMs: performance.now() };
  works.add(work);
  records += count;
  const end = () => forget(work);
  done.then(end, end);
  return done;
}

/** Resolves when flows can take more, or the caller is closing. */
export async function roomInFlows(isClosing: () => boolean): Promise<void> {
  while (recordsUnderWay() >= MANY && !isClosing()) await sleep(LOOK_MS);
}

/** How long the oldest of what is under way has been so. */
export function oldestUnderWayMs(): number {
  forgetStuck();
  const [oldest] = works;
  return oldest ? performance.now() - oldest.sinceMs : 0;
}

export function recordsUnderWay(): number {
  forgetStuck();
  return records;
}

/** They stand in the order in which they began. */
function forgetStuck(): void {
  const before = performance.now() - LONGEST_MS;
  for (const work of works) {
    if (work.sinceMs >= before) return;
    forget(work);
  }
}

function forget(work: Work): void {
  if (works.delete(work)) records -= work.records;
}
