/** A signal whose value stays in this browser; where it cannot be kept it still works until the page is closed. */
import { effect, type Signal, signal } from '@preact/signals';

/** False when the browser keeps nothing: entries would not outlive the page. */
export const canKeep = signal(true);

export function kept<T>(name: string, initial: T): Signal<T> {
  const key = `phaseloom-field-${name}`;
  const value = signal<T>(read(key) ?? initial);
  effect(() => {
    try {
      localStorage.setItem(key, JSON.stringify(value.value));
    } catch {
      canKeep.value = false;
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
