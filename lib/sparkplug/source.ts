/** What is remembered of an edge node or device of Sparkplug B, and how much of it. */
export type SparkplugValue = number | string | boolean | null;

export interface Source {
  isAlive: boolean;
  readonly names: Map<number, string>;
  readonly known: Map<string, SparkplugValue>;
  /** what it takes to remember it, in characters */
  size: number;
}

export interface EdgeNode extends Source {
  seq: number;
  bdSeq: SparkplugValue | undefined;
  readonly devices: Map<string, Source>;
}

/** A name or value costs its characters and about this much more to keep. */
const OVERHEAD = 64;

export const source = (): Source => ({ isAlive: true, names: new Map(), known: new Map(), size: OVERHEAD });

export function nameAlias(s: Source, alias: number, name: string): void {
  s.size += OVERHEAD + name.length - (s.names.has(alias) ? OVERHEAD + s.names.get(alias)!.length : 0);
  s.names.set(alias, name);
}

export function rememberValue(s: Source, name: string, value: SparkplugValue): void {
  const before = s.known.has(name) ? OVERHEAD + name.length + textLength(s.known.get(name)!) : 0;
  s.size += OVERHEAD + name.length + textLength(value) - before;
  s.known.set(name, value);
}

const textLength = (value: SparkplugValue): number => (typeof value === 'string' ? value.length : 0);

/** Edge nodes with their devices, as many as there is room for: the one that was quiet longest is forgotten first. */
export class EdgeNodes {
  private readonly edges = new Map<string, EdgeNode>();
  private readonly sizes = new Map<string, number>();
  private held = 0;

  /** @param most characters to hold at most */
  constructor(private readonly most: number) {}

  get(id: string): EdgeNode | undefined {
    return this.edges.get(id);
  }

  values(): Iterable<EdgeNode> {
    return this.edges.values();
  }

  /** Counts what has just been heard of it, and makes room. */
  heard(id: string, edge: EdgeNode): void {
    this.forget(id);
    const size = edge.size + id.length + devicesSize(edge);
    this.edges.set(id, edge);
    this.sizes.set(id, size);
    this.held += size;
    while (this.held > this.most) this.forget(this.edges.keys().next().value!);
  }

  private forget(id: string): void {
    this.held -= this.sizes.get(id) ?? 0;
    this.edges.delete(id);
    this.sizes.delete(id);
  }
}

function devicesSize({ devices }: EdgeNode): number {
  let size = 0;
  for (const [name, device] of devices) size += name.length + device.size;
  return size;
}
