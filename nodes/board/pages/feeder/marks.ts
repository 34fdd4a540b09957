/** What is drawn at a section besides its conductors, worked out once for each trace. */
import type { FeederAnswer } from './answers';
import { OFFERED } from './answers';

export const DIFFERS = 1;
export const DOUBT = 2;
export const SUSPECT = 4;
export const MEASURED = 8;
export const CONFLICT = 16;
export const ACCEPTED = 32;

export interface Marks {
  /** bits above, by section */
  readonly bits: Uint8Array;
  /** place in the ranking of where to read next, by section */
  readonly next: ReadonlyMap<number, number>;
}

export function marksOf({ picture, trace }: FeederAnswer): Marks {
  const bits = new Uint8Array(picture.ids.length);
  const at = new Map(picture.ids.map((id, v) => [id, v]));
  const mark = (id: string, bit: number) => {
    const v = at.get(id);
    if (v !== undefined) bits[v]! |= bit;
  };
  picture.together.forEach((p, v) => {
    if (v > 0 && p < OFFERED) bits[v]! |= DOUBT;
  });
  for (const v of picture.measured) bits[v]! |= MEASURED;
  for (const { section } of trace?.corrections.flatMap((c) => c.labels) ?? []) mark(section, DIFFERS);
  for (const { section } of trace?.accepted ?? []) mark(section, ACCEPTED);
  for (const s of trace?.suspects ?? []) for (const { section } of s.sections) mark(section, SUSPECT);
  for (const { id } of trace?.conflicts ?? []) mark(id, CONFLICT);
  const next = new Map((trace?.suggestions ?? []).map((s, i) => [at.get(s.section) ?? -1, i + 1]));
  return { bits, next };
}
