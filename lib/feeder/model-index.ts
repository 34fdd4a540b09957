/** From the rows of a feeder document to arrays in feeding order. */

import { SWAP } from './kernel';
import {
  CHANGE_PRIOR,
  type ClockNumber,
  type ClosedLoop,
  type Feeder,
  type FeederDocument,
  type FeederSection,
  type PlacedTerminal,
  type SectionKind,
} from './model';
import { FeederError, rowProblems } from './model-check';
import { clockNumbersOf } from './model-windings';

interface Row extends Omit<FeederSection, 'kind'> {
  readonly kind: SectionKind;
  readonly clock: readonly ClockNumber[];
}

export function makeIndex(document: FeederDocument): Feeder {
  const phases = document.phases ?? (['A', 'B', 'C'] as const);
  const problems = rowProblems(document, phases);
  if (problems.length > 0) throw new FeederError(document.id, problems);
  const rows = conductingRows(document);
  const walk = feedingOrder(document.source, rows);
  const tree = treeArrays(walk, phases);
  const indexOf = new Map(walk.order.map((row, i) => [row.id, i + 1] as const));
  problems.push(...phaseProblems(walk, tree.mask, phases));
  const fedTerminals = (document.terminals ?? []).filter((t) => indexOf.has(t.section));
  if (problems.length > 0) throw new FeederError(document.id, problems);
  const terminals = fedTerminals.map((t): PlacedTerminal => {
    const section = indexOf.get(t.section) as number;
    return {
      id: t.id,
      section,
      conductor: phases.indexOf(t.phase),
      site: t.site ?? t.section,
      reversed: t.reversed ?? false,
    };
  });
  return Object.freeze({
    id: document.id,
    phases,
    ...tree,
    ids: [document.source, ...walk.order.map((r) => r.id)],
    indexOf,
    kinds: ['source' as const, ...walk.order.map((r) => r.kind)],
    feeding: walk.feeding,
    loops: walk.loops,
    openTies: openTies(document, walk.feeding),
    terminals: new Map(terminals.map((t) => [t.id, t])),
    unfed: rows.filter((r) => !indexOf.has(r.id)).map((r) => r.id),
    document,
  });
}

function conductingRows(document: FeederDocument): Row[] {
  const none: readonly ClockNumber[] = [];
  return [
    ...document.sections.map((s) => ({ ...s, kind: s.kind ?? 'span', clock: none })),
    ...(document.switches ?? []).filter((s) => s.closed).map((s) => ({ ...s, kind: 'switch' as const, clock: none })),
    ...(document.transformers ?? []).map((t) => ({
      ...t,
      kind: 'transformer' as const,
      clock: clockNumbersOf(t.vectorGroup),
    })),
  ];
}

interface Walk {
  readonly order: readonly Row[];
  readonly parents: readonly number[];
  readonly feeding: ReadonlyMap<string, number>;
  readonly loops: readonly ClosedLoop[];
}

/** Breadth first from the source. A section whose far node is already fed closes a loop there. */
function feedingOrder(source: string, rows: readonly Row[]): Walk {
  const at = new Map<string, number[]>();
  rows.forEach((row, r) => {
    for (const node of [row.from, row.to]) {
      const here = at.get(node);
      if (here) here.push(r);
      else at.set(node, [r]);
    }
  });
  const feeding = new Map<string, number>([[source, 0]]);
  const taken = new Uint8Array(rows.length);
  const order: Row[] = [];
  const parents: number[] = [];
  const loops: ClosedLoop[] = [];
  const queue = [source];
  for (let q = 0; q < queue.length; q++) {
    const node = queue[q] as string;
    for (const r of at.get(node) ?? []) {
      if (taken[r]) continue;
      taken[r] = 1;
      const row = rows[r] as Row;
      const far = row.from === node ? row.to : row.from;
      order.push(row);
      parents.push(feeding.get(node) as number);
      const other = feeding.get(far);
      if (other === undefined) {
        feeding.set(far, order.length);
        queue.push(far);
      } else loops.push({ closing: order.length, other });
    }
  }
  return { order, parents, feeding, loops };
}

function treeArrays(walk: Walk, phases: readonly string[]) {
  const count = walk.order.length + 1;
  const parent = new Int32Array(count);
  const changePrior = new Float32Array(count);
  const mask = new Uint8Array(count);
  const windings = new Map<number, readonly ClockNumber[]>();
  parent[0] = -1;
  mask[0] = 7;
  walk.order.forEach((row, i) => {
    parent[i + 1] = walk.parents[i] as number;
    for (const p of row.phases) mask[i + 1] = (mask[i + 1] as number) | (1 << phases.indexOf(p));
    changePrior[i + 1] = ofOrder(row.changePrior ?? CHANGE_PRIOR[row.kind], row.phases.length);
    if (row.clock.length > 0) windings.set(i + 1, row.clock);
  });
  return { count, parent, changePrior, mask, windings };
}

/** A swap of the two absent conductors leaves a single one where it is: the order must change oftener for the conductor to change so often. */
const ofOrder = (prior: number, conductors: number): number => (conductors === 1 ? prior / (1 - SWAP) : prior);

/** A conductor must be fed by one with the same recorded phase. */
function phaseProblems(walk: Walk, mask: Uint8Array, phases: readonly string[]): string[] {
  const names = (m: number) => phases.filter((_, j) => (m >> j) & 1).join(', ');
  return walk.order.flatMap((row, i) => {
    const above = mask[walk.parents[i] as number] as number;
    const missing = (mask[i + 1] as number) & ~above;
    if (missing === 0) return [];
    const from = walk.parents[i] === 0 ? 'the source' : `section ${walk.order[(walk.parents[i] as number) - 1]?.id}`;
    return [
      `section ${row.id}: phase ${names(missing)} is recorded here but not on ${from}, which feeds it; expected phases among ${names(above)}`,
    ];
  });
}

const openTies = (document: FeederDocument, feeding: ReadonlyMap<string, number>) =>
  (document.switches ?? [])
    .filter((s) => !s.closed)
    .flatMap((s) => {
      const [left, right] = [feeding.get(s.from), feeding.get(s.to)];
      return left === undefined || right === undefined ? [] : [{ id: s.id, left, right }];
    });
