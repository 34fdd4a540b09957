/** The electrical truth behind the story: the solved IEEE 13-node feeder (data/SOURCE.md). */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';

export type Phase = 'A' | 'B' | 'C';

export interface Voltage {
  /** degrees, lead positive, as solved */
  readonly angleDeg: number;
  /** parts of the nominal voltage phase to neutral */
  readonly pu: number;
}

const FILE = join(__dirname, 'data/ieee13_solved_opendss.csv');

const solved = new Map<string, Voltage>(
  readFileSync(FILE, 'utf8')
    .trim()
    .split('\n')
    .slice(1)
    .map((line) => line.split(','))
    .map(([, node, , phase, , , pu, angle]) => [`${node} ${phase}`, { angleDeg: Number(angle), pu: Number(pu) }]),
);

/** @throws RangeError when the feeder has no such conductor */
export function voltageAt(node: string, phase: Phase): Voltage {
  const found = solved.get(`${node} ${phase}`);
  if (!found) throw new RangeError(`the solved feeder has no phase ${phase} at node ${node}`);
  return found;
}
