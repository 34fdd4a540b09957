/** An invented feeder in the order in which `makeFeeder` puts every feeder: breadth first, so that fed and feeding sections lie near each other. */
import type { World } from '../outside/rates/feeder-world';

export function breadthFirst({ tree, truth, crossed }: World): World {
  const { count, parent } = tree;
  const first = new Int32Array(count + 1);
  for (let v = 1; v < count; v++) first[parent[v]! + 1]!++;
  for (let v = 0; v < count; v++) first[v + 1]! += first[v]!;
  const next = first.slice();
  const fed = new Int32Array(count);
  for (let v = 1; v < count; v++) fed[next[parent[v]!]!++] = v;
  const order = new Int32Array(count);
  const place = new Int32Array(count);
  let n = 1;
  for (let q = 0; q < n; q++) {
    for (let k = first[order[q]!]!; k < first[order[q]! + 1]!; k++) {
      place[fed[k]!] = n;
      order[n++] = fed[k]!;
    }
  }
  const sorted = <T extends Uint8Array | Float32Array>(a: T): T => {
    const out = a.slice() as T;
    order.forEach((v, i) => {
      out[i] = a[v]!;
    });
    return out;
  };
  return {
    tree: {
      ...tree,
      parent: Int32Array.from(order, (v) => (v === 0 ? -1 : place[parent[v]!]!)),
      changePrior: sorted(tree.changePrior),
      mask: sorted(tree.mask),
    },
    truth: sorted(truth),
    crossed: sorted(crossed),
  };
}
