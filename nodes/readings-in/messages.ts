/** What leaves the node, as messages. */
import type { NodeMessage } from 'node-red';
import type { Reading, Rejection } from '../../lib/records';
import type { Item } from './door-contract';

/** A reading on its way out. No item: it was stored by an earlier run and is sent again. */
export interface Outbound {
  readonly reading: Reading;
  readonly seq: number;
  readonly topic: string | undefined;
  readonly item?: Item;
}

export function singles(sent: readonly Outbound[], newId: () => string): NodeMessage[] {
  return sent.map(({ reading, seq, topic, item }) => {
    const again = item ? {} : { resent: true };
    const retained = item?.retain ? { retain: true } : {};
    const base = item?.entry?.msg ?? { _msgid: newId(), topic };
    return { ...base, ...retained, payload: reading, reading, phaseloom: { seq, ...again } } as NodeMessage;
  });
}

/** One message for all that came from the broker, and one for each message from the flow, whose properties stay with its readings. */
export function batches(sent: readonly Outbound[], newId: () => string): NodeMessage[] {
  const byOrigin = new Map<object | undefined, Outbound[]>();
  for (const out of sent) {
    const msg = out.item?.entry?.msg;
    const group = byOrigin.get(msg);
    if (group) group.push(out);
    else byOrigin.set(msg, [out]);
  }
  return [...byOrigin].map(([msg, group]) => batch(group, msg ?? { _msgid: newId(), ...topicInCommon(group) }));
}

function batch(sent: readonly Outbound[], base: object): NodeMessage {
  const readings = sent.map(({ reading }) => reading);
  const again = sent.some(({ item }) => item) ? {} : { resent: true };
  return {
    ...base,
    payload: readings,
    reading: readings,
    phaseloom: { seq: sent.map(({ seq }) => seq), ...again },
  } as never;
}

function topicInCommon(sent: readonly Outbound[]): { topic?: string } {
  const topic = sent[0]?.topic;
  return topic !== undefined && sent.every((out) => out.topic === topic) ? { topic } : {};
}

export function rejected(
  sent: readonly { readonly item: Item; readonly rejection: Rejection }[],
  newId: () => string,
): NodeMessage[] {
  return sent.map(({ item, rejection }) => {
    const base = item.entry?.msg ?? { _msgid: newId(), topic: item.topic };
    return { ...base, payload: rejection } as NodeMessage;
  });
}
