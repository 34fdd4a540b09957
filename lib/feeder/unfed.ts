/** What nothing feeds, in words: often a node's name is written in two ways, and what is read there would be passed over unseen. */
import type { Feeder } from './model';

const MOST_NAMED = 5;

/** For a feeder with sections that nothing feeds: which, what of readings is lost with them, and what would be right. */
export function unfedText({ id, unfed, terminals, document }: Feeder): string {
  const lost = (document.terminals ?? []).filter((t) => !terminals.has(t.id)).map((t) => t.id);
  const some = (ids: readonly string[]) =>
    ids.slice(0, MOST_NAMED).join(', ') + (ids.length > MOST_NAMED ? ', ..' : '');
  const unread = lost.length > 0 ? `; readings at ${some(lost)} (${lost.length}) count for nothing` : '';
  return `feeder ${id}: nothing feeds ${some(unfed)} (${unfed.length})${unread}; expected from and to that lead to ${document.source} through sections and closed switches`;
}
