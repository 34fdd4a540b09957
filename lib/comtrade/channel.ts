/** Finds the channel of a recording that is meant, and what its unit is worth in volts. */
import type { Problem } from '../records';
import type { ComtradeConfig, RecordedChannel } from './config';

const VOLTS: Readonly<Record<string, number>> = { v: 1, kv: 1000 };

export type FoundChannel =
  | { readonly ok: true; readonly channel: RecordedChannel; readonly place: number; readonly volts: number }
  | { readonly ok: false; readonly problem: Problem };

/**
 * @param name id of an analog channel; its number from 1 (as text) where no channel has that id. An id that stands twice is refused
 */
export function voltageChannel({ analogs }: ComtradeConfig, name: string): FoundChannel {
  const places = placesOf(analogs, name);
  if (places.length > 1) {
    const numbers = places.map((p) => p + 1).join(' or ');
    const what = `channel ${name} stands ${places.length} times`;
    return fault('channel-ambiguous', what, `the number of the channel that is meant: ${numbers}`);
  }
  const [place] = places;
  const channel = place === undefined ? undefined : analogs[place];
  if (place === undefined || !channel)
    return fault('channel-unknown', `no channel ${name}`, analogs.map((a) => a.id).join(', '));
  const unit = channel.unit.toLowerCase();
  if (!Object.hasOwn(VOLTS, unit))
    return fault('unit-wrong', `channel ${name} is in ${JSON.stringify(channel.unit)}`, 'V or kV');
  return { ok: true, channel, place, volts: VOLTS[unit]! };
}

function placesOf(analogs: readonly RecordedChannel[], name: string): number[] {
  const places = analogs.flatMap((a, i) => (a.id === name ? [i] : []));
  if (places.length > 0) return places;
  return /^[1-9]\d*$/.test(name) && Number(name) <= analogs.length ? [Number(name) - 1] : [];
}

const fault = (code: string, what: string, expected: string): FoundChannel => ({
  ok: false,
  problem: { at: '/terminals', code, what, expected },
});
