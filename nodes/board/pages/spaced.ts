/** Does something soon, but never more often than once in a time, however often it is asked for: the board must stay quick in a flood. */
export interface Spaced {
  /** at once, or as soon as the time since the last is over */
  soon(): void;
  stop(): void;
}

const SPACING_MS = 400;

export function spaced(run: () => void): Spaced {
  let timer: number | undefined;
  let lastMs = Number.NEGATIVE_INFINITY;
  const now = () => {
    timer = undefined;
    lastMs = performance.now();
    run();
  };
  return {
    soon() {
      timer ??= window.setTimeout(now, Math.max(0, lastMs + SPACING_MS - performance.now()));
    },
    stop: () => clearTimeout(timer),
  };
}
