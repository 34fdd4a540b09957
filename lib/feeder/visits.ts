/** A crew's day on a feeder: which terminals to read, what each would settle, and in which order they lie along the feeder. */
import { dayPlan, type NextBest } from './next-best';
import type { FeederTrace } from './trace';

export interface Visit {
  readonly section: string;
  /** empty where the feeder's record names none */
  readonly terminals: readonly string[];
  readonly by: NextBest['by'];
  readonly settles: number;
  /** 1 for the first of a walk along the feeder from its source: a hint for travel */
  readonly walk: number;
}

/** The places to read in the order of choice: each as if those before had read what is expected. */
export function visitsOf({ feeder, solution, evidence, read }: FeederTrace, most: number): Visit[] {
  const terminals = Map.groupBy(feeder.terminals.values(), (t) => t.section);
  const readable = Uint8Array.from({ length: feeder.count }, (_, v) => (terminals.has(v) ? 1 : 0));
  const allowed = terminals.size === 0 ? undefined : readable;
  const { choices, travel } = dayPlan(solution, evidence, read, most, allowed);
  return choices.map(({ section, by, settles }) => ({
    section: feeder.ids[section]!,
    terminals: (terminals.get(section) ?? []).map((t) => t.id),
    by,
    settles,
    walk: travel.indexOf(section) + 1,
  }));
}
