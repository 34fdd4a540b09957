/** How far transformers between the reference and the feeder's source turn what is read on the feeder. */
import { wrap180 } from '../angle';
import { parseVectorGroup, pathShiftDeg } from '../windings';
import type { Feeder } from './model';
import { UNKNOWN } from './model-windings';

/**
 * What must be added to an angle read against a reference, so that it counts from the feeder's source: degrees in [-180, 180).
 * The path runs from the reference to the terminal; its end, where it names the feeder's own transformers, is left to the trace.
 * @param path vector groups passed from the reference to the terminal
 * @returns undefined when a transformer above the source has an unknown vector group: such an angle says nothing on this feeder
 */
export function upstreamTurnDeg(feeder: Feeder, section: number, path: readonly string[]): number | undefined {
  const groups = path.filter((group) => clockOf(group) !== 0);
  for (let v = section; v > 0; v = feeder.parent[v]!) {
    const own = feeder.windings.get(v);
    if (!own) continue;
    const last = groups.at(-1);
    if (last === undefined || (last !== UNKNOWN && !own.some((c) => c.n === clockOf(last)))) break;
    groups.pop();
  }
  return groups.includes(UNKNOWN) ? undefined : wrap180(0 - pathShiftDeg(groups));
}

function clockOf(group: string): number | undefined {
  const parsed = parseVectorGroup(group);
  return parsed.ok ? parsed.clock : undefined;
}
