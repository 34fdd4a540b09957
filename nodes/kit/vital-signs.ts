/** What the running nodes tell of themselves, for those who watch from outside. Values only: no payload, address or secret. */
import type { Node } from 'node-red';

export interface VitalSigns {
  /** only ever go up while the node runs */
  counters?(): Readonly<Record<string, number>>;
  /** go up and down */
  gauges?(): Readonly<Record<string, number>> | Promise<Readonly<Record<string, number>>>;
  /** why it cannot do its work at the moment; undefined when it can */
  trouble?(): string | undefined | Promise<string | undefined>;
}

export interface Watched extends VitalSigns {
  readonly id: string;
  readonly type: string;
  readonly name: string;
}

const watched = new Set<Watched>();

/** Until the node closes. */
export function showVitalSigns(node: Pick<Node, 'id' | 'type' | 'name' | 'on'>, signs: VitalSigns): void {
  const entry: Watched = { ...signs, id: node.id, type: node.type, name: node.name ?? '' };
  watched.add(entry);
  node.on('close', () => {
    watched.delete(entry);
  });
}

export const vitalSigns = (): readonly Watched[] => [...watched];
