/** How far a plan is done, by readings taken since. */
import { derivedId } from '../derived-id';
import type { Identification, Plan, PlanMove } from '../records';
import { phasesSince, provenPhases } from './identified';

/**
 * The plan with every move that readings since prove. A move is confirmed when all its terminals are proven on the phases it was to
 * go to; elsewhere when one is proven on a phase that is neither where it was nor where it was to go; else it stays open.
 */
export function followUp(plan: Plan, identifications: Iterable<Identification>): Plan {
  const proven = provenPhases(identifications);
  const from = new Set(plan.from);
  let isNew = false;
  const moves = plan.moves.map((move) => {
    const since = phasesSince(move.terminals, proven, plan.at);
    if (since.from.length === 0) return move;
    for (const id of since.from) from.add(id);
    isNew = true;
    return { ...move, found: since.phases, state: stateOf(move, since.phases) };
  });
  if (!isNew) return plan;
  // `at` stays the instant of the plan: later readings are those after it.
  const { id: _, ...content } = { ...plan, from: [...from].sort(), moves };
  return Object.freeze({ ...content, id: derivedId('plan', content) });
}

function stateOf({ from, to }: PlanMove, found: readonly (string | null)[]): PlanMove['state'] {
  if (found.length === to.length && found.every((p, k) => p === to[k])) return 'confirmed';
  const isElsewhere = found.some((p, k) => p !== null && p !== to[k] && p !== from[k]);
  return isElsewhere ? 'elsewhere' : 'open';
}
