/** Phases of loads as readings prove them, in place of what the record says. */
import { compareInstants } from '../instant';
import type { Identification } from '../records';
import { applied, type UnitMove } from './applied';
import { type LoadEntry, type Loading, type LoadingDocument, makeLoading } from './model';
import { type PhaseMap, unitsOf } from './units';

/** Newest proven phase of each terminal; a newer reading that proves nothing takes nothing back. */
export function provenPhases(identifications: Iterable<Identification>): Map<string, Identification> {
  const newest = new Map<string, Identification>();
  for (const i of identifications) {
    if (!isProof(i)) continue;
    const known = newest.get(i.terminal);
    if (!known || compareInstants(known.at, i.at) <= 0) newest.set(i.terminal, i);
  }
  return newest;
}

/** Whether it proves on which phase a conductor stands. */
export const isProof = (i: Identification): boolean =>
  i.verdict !== 'not-proven' && i.phase !== null && !i.connection?.startsWith('phase-phase');

export interface Identified {
  readonly document: LoadingDocument;
  /** loads whose phases readings prove, all of them */
  readonly byReadings: ReadonlySet<string>;
  /** identifications used */
  readonly from: readonly string[];
  /** the least of their probabilities; left out when none is used */
  readonly leastProbability?: number;
  /** what the readings prove but the feeder cannot have, in sentences */
  readonly problems: readonly string[];
}

/**
 * The loads on the phases that readings prove. A load or lateral takes part with its `terminals`; a lateral turns with everything on
 * it. When only some of its terminals are proven, or what is proven cannot be, the record stays.
 */
export function withIdentifications(document: LoadingDocument, identifications: Iterable<Identification>): Identified {
  const found = new Found(provenPhases(identifications));
  const recorded = makeLoading(document);
  const turned = turnLaterals(recorded, found);
  const loads = turned.document.loads.map((load): LoadEntry => {
    const phases = found.phasesOf(`load ${load.id}`, load.terminals, load.phases, (p) => isPresent(turned, load, p));
    if (!phases) return load;
    found.byReadings.add(load.id);
    return { ...load, phases };
  });
  const { byReadings, used, problems } = found;
  const least = used.size === 0 ? {} : { leastProbability: Math.min(...used.values()) };
  const from = [...used.keys()].sort();
  return { document: { ...turned.document, loads }, byReadings, from, ...least, problems };
}

function isPresent({ feeder }: Loading, { section }: LoadEntry, phase: string): boolean {
  const k = feeder.phases.indexOf(phase);
  return k >= 0 && ((feeder.mask[feeder.indexOf.get(section)!]! >> k) & 1) === 1;
}

function turnLaterals(loading: Loading, found: Found): Loading {
  const { phases: labels } = loading.feeder;
  const moves: UnitMove[] = [];
  for (const unit of unitsOf(loading).units) {
    if (unit.kind !== 'lateral') continue;
    const recorded = unit.phases.map((p) => labels[p]!);
    const phases = found.phasesOf(`lateral ${unit.id}`, unit.terminals, recorded, (p) => labels.includes(p));
    if (!phases) continue;
    for (const l of unit.loads) found.byReadings.add(l.entry.id);
    const to = [-1, -1, -1];
    unit.phases.forEach((p, k) => {
      to[p] = labels.indexOf(phases[k]!);
    });
    if (unit.phases.some((p) => to[p] !== p)) moves.push({ unit, to: to as unknown as PhaseMap });
  }
  return moves.length === 0 ? loading : applied(loading, moves);
}

/** Gathers which loads are proven, by which records, and what could not be taken. */
class Found {
  readonly byReadings = new Set<string>();
  /** id and probability of the identifications that count */
  readonly used = new Map<string, number>();
  readonly problems: string[] = [];

  constructor(private readonly proven: ReadonlyMap<string, Identification>) {}

  /** The proven phases of something with these terminals; `recorded` empty when its conductors are not known. */
  phasesOf(
    what: string,
    terminals: readonly string[] = [],
    recorded: readonly string[],
    canBe: (phase: string) => boolean,
  ): string[] | undefined {
    const found = terminals.flatMap((t) => this.proven.get(t) ?? []);
    if (found.length < terminals.length) this.tellInPart(what, terminals, recorded);
    if (found.length === 0 || found.length < terminals.length) return undefined;
    const phases = found.map((f) => f.phase!);
    const isWhole = recorded.length === 0 || phases.length === recorded.length;
    if (!isWhole || new Set(phases).size !== phases.length || !phases.every(canBe)) {
      this.problems.push(
        `${what}: readings prove ${phases.join(', ')} on ${terminals.join(', ')}, which cannot be by the record; the record is kept`,
      );
      return undefined;
    }
    for (const f of found) this.used.set(f.id, f.probability);
    return phases;
  }

  /** One conductor that is proven elsewhere than the record says speaks against the record of all of them. */
  private tellInPart(what: string, terminals: readonly string[], recorded: readonly string[]): void {
    const against = terminals.flatMap((t, k) => {
      const phase = this.proven.get(t)?.phase;
      return phase && recorded.length > 0 && phase !== recorded[k] ? [`${phase} on ${t}`] : [];
    });
    if (against.length === 0) return;
    const unread = terminals.filter((t) => !this.proven.has(t));
    this.problems.push(
      `${what}: readings prove ${against.join(', ')}, where the record says ${recorded.join(', ')}, and nothing of ${unread.join(', ')}; the record is kept until that is read too`,
    );
  }
}

/** What readings taken after an instant prove of the conductors of something that was to move, null where nothing. */
export function phasesSince(
  terminals: readonly string[],
  identifications: ReadonlyMap<string, Identification>,
  since: string,
): { readonly phases: (string | null)[]; readonly from: string[] } {
  const found = terminals.map((t) => {
    const i = identifications.get(t);
    return i && compareInstants(i.at, since) > 0 ? i : undefined;
  });
  return { phases: found.map((f) => f?.phase ?? null), from: found.flatMap((f) => (f ? [f.id] : [])) };
}
