/** Phases of loads as readings prove them, in place of what the record says. */
import type { Identification } from '../records';
import type { LoadEntry, LoadingDocument } from './model';

/** Newest proven phase of each terminal; a newer reading that proves nothing takes nothing back. */
export function provenPhases(identifications: Iterable<Identification>): Map<string, Identification> {
  const newest = new Map<string, Identification>();
  for (const i of identifications) {
    if (!isProof(i)) continue;
    const known = newest.get(i.terminal);
    if (!known || known.at <= i.at) newest.set(i.terminal, i);
  }
  return newest;
}

const isProof = (i: Identification): boolean =>
  i.verdict !== 'not-proven' && i.phase !== null && !i.connection?.startsWith('phase-phase');

export interface Identified {
  readonly document: LoadingDocument;
  /** loads whose phases readings prove, all of them */
  readonly byReadings: ReadonlySet<string>;
  /** identifications used */
  readonly from: readonly string[];
  /** what the readings prove but the feeder cannot have, in sentences */
  readonly problems: readonly string[];
}

/**
 * The loads on the phases that readings prove. A load takes part with its `terminals`; when only some of them are proven,
 * or all carry one phase, the record stays.
 */
export function withIdentifications(document: LoadingDocument, identifications: Iterable<Identification>): Identified {
  const proven = provenPhases(identifications);
  const byReadings = new Set<string>();
  const from = new Set<string>();
  const problems: string[] = [];
  const phasesOf = (id: string, terminals: readonly string[] | undefined, many: number): string[] | undefined => {
    if (!terminals || terminals.length === 0) return undefined;
    const found = terminals.map((t) => proven.get(t));
    if (found.some((f) => !f)) return undefined;
    const phases = found.map((f) => f!.phase!);
    if (new Set(phases).size !== phases.length || (many > 0 && phases.length !== many)) {
      problems.push(`${id}: readings prove ${phases.join(', ')} on ${terminals.join(', ')}; the record is kept`);
      return undefined;
    }
    for (const f of found) from.add(f!.id);
    return phases;
  };
  const loads = document.loads.map((load): LoadEntry => {
    const phases = phasesOf(`load ${load.id}`, load.terminals, load.phases.length);
    if (!phases) return load;
    byReadings.add(load.id);
    return { ...load, phases };
  });
  return { document: { ...document, loads }, byReadings, from: [...from].sort(), problems };
}

/** What readings taken after an instant prove of the conductors of something that was to move, null where nothing. */
export function phasesSince(
  terminals: readonly string[],
  identifications: ReadonlyMap<string, Identification>,
  since: string,
): { readonly phases: (string | null)[]; readonly from: string[] } {
  const found = terminals.map((t) => {
    const i = identifications.get(t);
    return i && i.at > since ? i : undefined;
  });
  return { phases: found.map((f) => f?.phase ?? null), from: found.flatMap((f) => (f ? [f.id] : [])) };
}
