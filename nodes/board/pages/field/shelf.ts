/** Things kept in this browser under a key each: pages open side by side add and take away without losing each other's. */
import { type ReadonlySignal, signal } from '@preact/signals';
import { unkept } from './kept';

export class Shelf<T> {
  private readonly held;
  private readonly prefix: string;

  constructor(private readonly name: string) {
    this.prefix = `phaseloom-field-${name}/`;
    this.held = signal<ReadonlyMap<string, T>>(this.found());
    window.addEventListener('storage', ({ key, newValue }) => {
      if (key?.startsWith(this.prefix)) this.take(key.slice(this.prefix.length), parsed<T>(newValue));
    });
  }

  get items(): ReadonlySignal<ReadonlyMap<string, T>> {
    return this.held;
  }

  put(id: string, item: T): void {
    this.take(id, item);
    try {
      localStorage.setItem(this.prefix + id, JSON.stringify(item));
    } catch {
      unkept.value = new Set([...unkept.peek(), this.name]);
    }
  }

  remove(id: string): void {
    this.take(id, undefined);
    try {
      localStorage.removeItem(this.prefix + id);
    } catch {
      // A browser that keeps nothing has nothing to take away.
    }
  }

  private take(id: string, item: T | undefined): void {
    const next = new Map(this.held.peek());
    if (item === undefined) next.delete(id);
    else next.set(id, item);
    this.held.value = next;
  }

  private found(): ReadonlyMap<string, T> {
    try {
      const keys = Object.keys(localStorage).filter((key) => key.startsWith(this.prefix));
      return new Map(
        keys.flatMap((key) => {
          const item = parsed<T>(localStorage.getItem(key));
          return item === undefined ? [] : [[key.slice(this.prefix.length), item] as const];
        }),
      );
    } catch {
      return new Map();
    }
  }
}

function parsed<T>(text: string | null): T | undefined {
  try {
    return JSON.parse(text ?? 'null') ?? undefined;
  } catch {
    return undefined;
  }
}
