/** Readings on their way to the board: kept in this browser until the front door says that they are stored. */
import { batch, computed, signal } from '@preact/signals';
import type { Problem, Reading } from '../../../../lib/records';
import { post, Refusal } from '../api';
import { Shelf } from './shelf';

interface Waiting {
  readonly reading: Reading;
  /** why the front door refused it; empty while it waits */
  readonly problems: readonly string[];
  /** when it was put here, milliseconds: what came first goes first */
  readonly putMs: number;
}

interface Outcome {
  readonly stored: boolean;
  readonly problems: readonly Problem[];
}

const outbox = new Shelf<Waiting>('outbox');
/** by id of a reading that the front door said is stored: when it said so, milliseconds */
const stored = new Shelf<number>('stored');
const inOrder = computed(() => [...outbox.items.value.values()].sort((a, b) => a.putMs - b.putMs));
export const waiting = computed(() => inOrder.value.filter((w) => w.problems.length === 0));
export const refused = computed(() => inOrder.value.filter((w) => w.problems.length > 0));
/** why the last attempt failed, or empty */
export const sendTrouble = signal('');

const AT_ONCE = 100;
const RETRY_MS = 10_000;
const ANSWER_MS = 20_000;
/** Ids that the front door said are stored are remembered for two days: longer than any visit. */
const REMEMBERED_MS = 172_800_000;
let isSending = false;

export type Fate = 'to be sent' | 'stored' | 'refused' | 'not kept, read it again';

/** What became of a reading that was entered here. */
export function fateOf(id: string): Fate {
  const found = outbox.items.value.get(id);
  if (found) return found.problems.length > 0 ? 'refused' : 'to be sent';
  return stored.items.value.has(id) ? 'stored' : 'not kept, read it again';
}

export function put(reading: Reading): void {
  outbox.put(reading.id, { reading, problems: [], putMs: performance.timeOrigin + performance.now() });
  void sendAll();
}

export const forget = (id: string): void => outbox.remove(id);

/** Tries now, whenever the phone says that it is connected again, and every few seconds. */
export function keepSending(): void {
  for (const [id, ms] of stored.items.value) if (Date.now() - ms > REMEMBERED_MS) stored.remove(id);
  window.addEventListener('online', () => void sendAll());
  setInterval(() => void sendAll(), RETRY_MS);
  void sendAll();
}

export async function sendAll(): Promise<void> {
  if (isSending) return;
  isSending = true;
  try {
    while (waiting.value.length > 0) await sendSome(waiting.value.slice(0, AT_ONCE).map((w) => w.reading));
    sendTrouble.value = '';
  } catch (cause) {
    sendTrouble.value = cause instanceof Refusal ? cause.message : 'no connection to the board';
  } finally {
    isSending = false;
  }
}

async function sendSome(readings: readonly Reading[]): Promise<void> {
  const answer = post<{ outcomes: readonly Outcome[] }>('field/readings', { readings });
  const { outcomes } = await Promise.race([answer, tooLate()]);
  if (outcomes?.length !== readings.length) throw new Refusal('failed', 'the answer was not that of the board');
  batch(() => {
    for (const [i, reading] of readings.entries()) settle(reading, outcomes[i]!);
  });
}

function settle({ id }: Reading, outcome: Outcome): void {
  const found = outbox.items.value.get(id);
  // First remembered, then taken away: another page must never see neither.
  if (outcome.stored) stored.put(id, Date.now());
  if (outcome.stored) outbox.remove(id);
  else if (found) outbox.put(id, { ...found, problems: wordsOf(outcome) });
}

/** A weak connection may never answer. What is sent again is stored once: its id is the same. */
const tooLate = (): Promise<never> =>
  new Promise((_, fail) => setTimeout(() => fail(new Error('no answer')), ANSWER_MS));

const wordsOf = ({ problems }: Outcome): readonly string[] =>
  problems.length > 0 ? problems.map((p) => `${p.what}; right would be ${p.expected}`) : ['it was not stored'];
