/** From a section to its neighbours by the arrow keys. */
import type { LaneIndex } from '../../../../lib/feeder/tree-drawing';

export type Arrow = 'ArrowLeft' | 'ArrowRight' | 'ArrowUp' | 'ArrowDown' | 'Home';

export const isArrow = (key: string): key is Arrow =>
  ['ArrowLeft', 'ArrowRight', 'ArrowUp', 'ArrowDown', 'Home'].includes(key);

/** Left: the section that feeds it; right: the next in its lane; up and down: the nearest in the lanes beside. */
export function neighbour(index: LaneIndex, parent: ArrayLike<number>, from: number, arrow: Arrow): number {
  const { column, lane, lanes } = index.drawing;
  if (from <= 0 || arrow === 'Home') return first(index, parent);
  if (arrow === 'ArrowLeft') return parent[from]! > 0 ? parent[from]! : from;
  if (arrow === 'ArrowRight') {
    const next = index.nearest(column[from]! + 1, lane[from]!);
    return column[next] === column[from]! + 1 ? next : from;
  }
  const step = arrow === 'ArrowUp' ? -1 : 1;
  for (let l = lane[from]! + step; l >= 0 && l < lanes; l += step) {
    const beside = index.nearest(column[from]!, l);
    if (beside > 0) return beside;
  }
  return from;
}

function first({ drawing }: LaneIndex, parent: ArrayLike<number>): number {
  for (let v = 1; v < parent.length; v++) if (parent[v] === 0 && drawing.lane[v] === 0) return v;
  return 0;
}
