/** Phases behind centre taps: there the record knows legs 1 and 2, and the phase is that of the transformer's primary. */

export interface Join {
  readonly from: string;
  readonly to: string;
}

/** Phase of each node that a centre tap feeds, carried along what hangs on it, whichever end of a line the record names first. */
export function behindTaps(
  taps: Iterable<readonly [node: string, phases: readonly string[]]>,
  joins: readonly Join[],
): Map<string, readonly string[]> {
  const phases = new Map(taps);
  const ways = joins.flatMap((j) => [j, { from: j.to, to: j.from }]);
  const from = Map.groupBy(ways, (j) => j.from);
  const queue = [...phases.keys()];
  for (const node of queue) {
    for (const { to } of from.get(node) ?? []) {
      if (phases.has(to)) continue;
      phases.set(to, phases.get(node)!);
      queue.push(to);
    }
  }
  return phases;
}
