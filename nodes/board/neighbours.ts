/** The nodes that work on the ledger of a board, as far as they offer it something. */
import type { Board } from './board';

/** Nodes of a type with the same ledger node as the board that have this member. */
export function neighbours<T extends object>({ RED, settings }: Board, type: string, member: keyof T & string): T[] {
  const found: T[] = [];
  RED.nodes.eachNode((def) => {
    if (def.type !== type || (def as { ledger?: string }).ledger !== settings.ledger) return;
    const node = RED.nodes.getNode(def.id) as unknown as T | null;
    if (node?.[member] !== undefined) found.push(node);
  });
  return found;
}
