/** A message of the flow as an entry at the door. */
import type { FlowMessage } from '../kit/serve';
import { Trouble } from '../kit/trouble';
import type { Door } from './door';
import type { EntryOutcome } from './door-contract';

/** Resolves when it is stored. @throws Trouble that says why it was not */
export async function enter(door: Door, payload: unknown, topic: string, msg?: FlowMessage): Promise<EntryOutcome> {
  const bytes = bytesOf(payload);
  // A reading that another node of ours made needs no mapping.
  const isMapped = (payload as { kind?: unknown } | null | undefined)?.kind === 'reading';
  return new Promise((stored, failed) => door.enter({ topic, bytes, isMapped }, { msg, stored, failed }));
}

function bytesOf(payload: unknown): Buffer {
  if (Buffer.isBuffer(payload)) return payload;
  if (typeof payload === 'string') return Buffer.from(payload);
  try {
    return Buffer.from(JSON.stringify(payload) ?? '');
  } catch (cause) {
    const why = (cause as Error).message.split('\n')[0];
    throw new Trouble(
      'payload-not-json',
      `msg.payload cannot be written as JSON (${why}); give a reading or an array of readings`,
    );
  }
}
