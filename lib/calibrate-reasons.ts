/** Why an offset was refused or rests on little, and what would settle it. */
import type { KnownConductor } from './calibrate';
import { STRICT_FROM, votesNeeded } from './calibrate-vote';
import type { Reason } from './records';

export interface Offset {
  readonly known: KnownConductor;
  readonly offsetDeg: number;
  readonly sdDeg: number;
}

/** Fewer offsets cannot outvote a wrong record. */
export const FEWEST = 3;

const RECOMMENDED = 'read at least five conductors over at least two sites';

export function tooFew(count: number): Reason {
  return {
    code: 'too-few-conductors',
    why: `${count} usable readings at known conductors; ${FEWEST} are needed`,
    settle: RECOMMENDED,
  };
}

export function noMajority(offsets: readonly Offset[]): Reason {
  const shown = offsets.map((o) => `${o.known.terminal} ${o.offsetDeg.toFixed(1)}`).join(', ');
  return {
    code: 'offsets-disagree',
    why: `fewer than ${votesNeeded(offsets.length)} of ${offsets.length} conductors agree on an offset: ${shown} degrees`,
    settle: 'check the records of these conductors and read more of them',
  };
}

export function unfitReading(known: KnownConductor, reasons: readonly Reason[]): Reason {
  const why = reasons[0]?.why ?? 'it has no angle against this reference';
  return {
    code: 'known-reading-unfit',
    why: `${known.terminal}: ${why}`,
    settle: reasons[0]?.settle ?? 'read it against this reference',
  };
}

export function thinly(supporters: readonly Offset[]): Reason[] {
  const sites = new Set(supporters.map((o) => o.known.site)).size;
  if (supporters.length >= STRICT_FROM && sites >= 2) return [];
  const why = `the offset rests on ${supporters.length} conductors at ${sites} site${sites === 1 ? '' : 's'}`;
  return [{ code: 'thinly-supported', why, settle: RECOMMENDED }];
}
