/** What leaves the node, as messages. */
import type { NodeMessage } from 'node-red';
import type { Rejection } from '../../lib/records';
import type { Item, Outgoing } from './door-contract';

export function singles(sent: readonly Outgoing[]): NodeMessage[] {
  return sent.map(({ reading, seq, topic, item, isAgain }) => {
    const phaseloom = isAgain ? { seq, resent: true } : { seq };
    if (item?.entry?.msg) return { ...item.entry.msg, payload: reading, reading, phaseloom } as NodeMessage;
    const msg = { topic, payload: reading, reading, phaseloom };
    return (item?.retain ? { ...msg, retain: true } : msg) as NodeMessage;
  });
}

/** One message for all that came from the broker, and one for each message from the flow, whose properties stay with its readings. */
export function batches(sent: readonly Outgoing[]): NodeMessage[] {
  const byOrigin = new Map<object | undefined, Outgoing[]>();
  for (const out of sent) {
    const msg = out.item?.entry?.msg;
    const group = byOrigin.get(msg);
    if (group) group.push(out);
    else byOrigin.set(msg, [out]);
  }
  return [...byOrigin].map(([msg, group]) => batch(group, msg ?? topicInCommon(group)));
}

function batch(sent: readonly Outgoing[], base: object): NodeMessage {
  const readings = sent.map(({ reading }) => reading);
  const again = sent.every(({ isAgain }) => isAgain) ? { resent: true } : {};
  return {
    ...base,
    payload: readings,
    reading: readings,
    phaseloom: { seq: sent.map(({ seq }) => seq), ...again },
  } as never;
}

function topicInCommon(sent: readonly Outgoing[]): { topic?: string } {
  const topic = sent[0]?.topic;
  return topic !== undefined && sent.every((out) => out.topic === topic) ? { topic } : {};
}

export function rejected(sent: readonly { readonly item: Item; readonly rejection: Rejection }[]): NodeMessage[] {
  return sent.map(({ item, rejection }) => {
    const base = item.entry?.msg ?? { topic: item.topic };
    return { ...base, payload: rejection } as NodeMessage;
  });
}
