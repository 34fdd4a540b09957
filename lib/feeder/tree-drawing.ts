/**
 * Where each section stands on a drawing of the feeder: columns count sections from the source, lanes lie below each other. The part with
 * the most sections goes straight on; what branches off goes below, the farthest from the source first, so that no two lines cross.
 */

/** The feeder as a tree: every section after the one that feeds it. */
export interface DrawnTree {
  readonly count: number;
  readonly parent: ArrayLike<number>;
}

export interface TreeDrawing {
  /** of the far end of each section; 0 is the source, in column 0 */
  readonly column: Int32Array;
  readonly lane: Int32Array;
  readonly columns: number;
  readonly lanes: number;
  /** 1 where a section begins a lane: its line comes down from the lane of the section that feeds it */
  readonly begins: Uint8Array;
}

/**
 * @example drawTree({ count: 4, parent: [0, 0, 1, 1] }).lane // [0, 0, 0, 1]
 */
export function drawTree({ count, parent }: DrawnTree): TreeDrawing {
  const column = new Int32Array(count);
  for (let v = 1; v < count; v++) column[v] = column[parent[v]!]! + 1;
  const { heir, branches } = heirs({ count, parent });
  const lane = new Int32Array(count);
  const begins = new Uint8Array(count);
  const columns = column.reduce((m, c) => Math.max(m, c), 0) + 1;
  /** lowest lane in use at each column */
  const used = new Int32Array(columns).fill(-1);
  const stack: number[] = [];

  /** One run from v straight on, as high as there is room; what branches off it waits, the nearest to the source deepest. */
  function place(v: number): void {
    const run: number[] = [];
    for (let u = v; u !== -1; u = heir[u]!) run.push(u);
    const from = v === 0 ? 0 : column[parent[v]!]!;
    const upTo = column[run.at(-1)!]!;
    let free = 0;
    for (let c = from; c <= upTo; c++) free = Math.max(free, used[c]! + 1);
    used.fill(free, from, upTo + 1);
    for (const u of run) lane[u] = free;
    begins[v] = 1;
    for (const u of run) stack.push(...(branches.get(u) ?? []));
  }

  if (count > 0) place(0);
  while (stack.length > 0) place(stack.pop()!);
  const lanes = lane.reduce((m, l) => Math.max(m, l), 0) + 1;
  return { column, lane, columns, lanes, begins };
}

/** For each section the one fed by it with the most sections below, and the others that branch off. */
function heirs({ count, parent }: DrawnTree) {
  const size = new Int32Array(count).fill(1);
  for (let v = count - 1; v > 0; v--) size[parent[v]!]! += size[v]!;
  const heir = new Int32Array(count).fill(-1);
  for (let v = 1; v < count; v++) {
    const u = parent[v]!;
    if (heir[u] === -1 || size[v]! > size[heir[u]!]!) heir[u] = v;
  }
  const branches = new Map<number, number[]>();
  for (let v = 1; v < count; v++) {
    const u = parent[v]!;
    if (heir[u] === v) continue;
    const list = branches.get(u);
    if (list) list.push(v);
    else branches.set(u, [v]);
  }
  return { heir, branches };
}

/** Sections by lane, in the order of their columns: finds what is in sight without looking at the rest. */
export class LaneIndex {
  private readonly lanes: Int32Array[];
  /** sections that begin a lane, by the column from which their line comes down */
  private readonly drops: Int32Array;

  constructor(
    readonly drawing: TreeDrawing,
    private readonly parent: ArrayLike<number>,
  ) {
    const begun = [...drawing.begins.keys()].filter((v) => v > 0 && drawing.begins[v] === 1);
    this.drops = Int32Array.from(begun).sort((a, b) => drawing.column[a]! - drawing.column[b]!);
    const lists: number[][] = Array.from({ length: drawing.lanes }, () => []);
    for (let v = 0; v < drawing.lane.length; v++) lists[drawing.lane[v]!]!.push(v);
    this.lanes = lists.map((list) => Int32Array.from(list).sort((a, b) => drawing.column[a]! - drawing.column[b]!));
  }

  /** Calls `tell` for every section whose far end stands in these columns and lanes, bounds included. */
  each(box: Box, tell: (section: number) => void): void {
    const last = Math.min(this.drawing.lanes - 1, Math.floor(box.lastLane));
    for (let l = Math.max(0, Math.ceil(box.firstLane)); l <= last; l++) {
      const list = this.lanes[l]!;
      for (let i = this.first(list, box.firstColumn); i < list.length; i++) {
        const v = list[i]!;
        if (this.drawing.column[v]! > box.lastColumn) break;
        tell(v);
      }
    }
  }

  /** Calls `tell` for every line that comes down to a lane through these columns and lanes. */
  eachDrop(box: Box, tell: (column: number, fromLane: number, upToLane: number) => void): void {
    const { column, lane } = this.drawing;
    for (let i = this.first(this.drops, box.firstColumn + 1); i < this.drops.length; i++) {
      const v = this.drops[i]!;
      if (column[v]! - 1 > box.lastColumn) return;
      const from = lane[this.parent[v]!]!;
      if (from <= box.lastLane && lane[v]! >= box.firstLane) tell(column[v]! - 1, from, lane[v]!);
    }
  }

  /** The section whose far end is nearest in its lane; -1 when the lane has none. */
  nearest(column: number, lane: number): number {
    const list = this.lanes[lane] ?? [];
    const at = this.first(list, column);
    const [right, left] = [list[at] ?? -1, list[at - 1] ?? -1];
    if (right === -1 || left === -1) return Math.max(right, left);
    const { column: c } = this.drawing;
    return c[right]! - column <= column - c[left]! ? right : left;
  }

  private first(list: ArrayLike<number>, column: number): number {
    let [low, high] = [0, list.length];
    while (low < high) {
      const mid = (low + high) >> 1;
      if (this.drawing.column[list[mid]!]! < column) low = mid + 1;
      else high = mid;
    }
    return low;
  }
}

export interface Box {
  readonly firstColumn: number;
  readonly lastColumn: number;
  readonly firstLane: number;
  readonly lastLane: number;
}
