/** A signal whose value stays in this browser; where it cannot be kept it still works until the page is closed. */
import { effect, type Signal, signal } from '@preact/signals';

/** What this browser could not keep: it would not outlive the page. */
export const unkept = signal<ReadonlySet<string>>(new Set());

export function kept<T>(name: string, initial: T): Signal<T> {
  const key = `phaseloom-field-${name}`;
  const value = signal<T>(read(key) ?? initial);
  effect(() => {
    try {
      localStorage.setItem(key, JSON.stringify(value.value));
    } catch {
      unkept.value = new Set([...unkept.peek(), name]);
    }
  });
  return value;
}

function read<T>(key: string): T | undefined {
  try {
    return JSON.parse(localStorage.getItem(key) ?? 'null') ?? undefined;
  } catch {
    return undefined;
  }
}
