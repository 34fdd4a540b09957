/** Readings on their way to the board: kept in this browser until the front door says that they are stored. */
import { computed, signal } from '@preact/signals';
import type { Problem, Reading } from '../../../../lib/records';
import { post, Refusal } from '../api';
import { kept } from './kept';

interface Waiting {
  readonly reading: Reading;
  /** why the front door refused it; empty while it waits */
  readonly problems: readonly string[];
}

interface Outcome {
  readonly stored: boolean;
  readonly problems: readonly Problem[];
}

const outbox = kept<readonly Waiting[]>('outbox', []);
export const waiting = computed(() => outbox.value.filter((w) => w.problems.length === 0));
export const refused = computed(() => outbox.value.filter((w) => w.problems.length > 0));
/** why the last attempt failed, or empty */
export const sendTrouble = signal('');

const AT_ONCE = 100;
const RETRY_MS = 10_000;
const ANSWER_MS = 20_000;
let isSending = false;

export function put(reading: Reading): void {
  outbox.value = [...outbox.value, { reading, problems: [] }];
  void sendAll();
}

export function forget(id: string): void {
  outbox.value = outbox.value.filter((w) => w.reading.id !== id);
}

/** Tries now, whenever the phone says that it is connected again, and every few seconds. */
export function keepSending(): void {
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
  const told = new Map(readings.map(({ id }, i) => [id, outcomes[i]]));
  outbox.value = outbox.value.flatMap((w) => {
    const outcome = told.get(w.reading.id);
    if (!outcome) return [w];
    return outcome.stored ? [] : [{ ...w, problems: wordsOf(outcome) }];
  });
}

/** A weak connection may never answer. What is sent again is stored once: its id is the same. */
const tooLate = (): Promise<never> =>
  new Promise((_, fail) => setTimeout(() => fail(new Error('no answer')), ANSWER_MS));

const wordsOf = ({ problems }: Outcome): readonly string[] =>
  problems.length > 0 ? problems.map((p) => `${p.what}; right would be ${p.expected}`) : ['it was not stored'];
