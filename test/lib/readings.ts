/** Readings for tests: sound unless told otherwise. */
import { derivedId, formatInstant, parseInstant, type Reading } from '../../lib';

export const NOON = '2026-05-04T12:00:00.000000Z';
export const NOON_US = parseInstant(NOON);

export const SOUND_CLOCK = { source: 'gnss', errorUs: 1, locked: true } as const;

/** A reading against reference `ref` at noon plus some seconds, with a sound clock. Undefined members are left out. */
export function read(
  terminal: string,
  angleDeg: number | undefined,
  over: { [K in keyof Reading]?: Reading[K] | undefined } & { atS?: number } = {},
): Reading {
  const { atS = 0, ...rest } = over;
  const members = {
    kind: 'reading' as const,
    terminal,
    takenAt: formatInstant(NOON_US + Math.round(atS * 1e6)),
    angleDeg,
    against: angleDeg === undefined ? undefined : 'ref',
    clock: SOUND_CLOCK,
    coupling: 'contact' as const,
    ...rest,
  };
  const content = Object.fromEntries(Object.entries(members).filter(([, v]) => v !== undefined)) as Omit<Reading, 'id'>;
  return Object.freeze({ ...content, id: derivedId('reading', content) }) as Reading;
}
