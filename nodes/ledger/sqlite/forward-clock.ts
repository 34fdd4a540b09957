/**
 * The wall clock, except that it is never set back: what falls due in a minute falls due in a minute, also when somebody corrects the
 * clock of the machine by an hour in between. Microseconds.
 */
export function forwardClock(
  wallUs: () => number,
  steadyUs: () => number = () => performance.now() * 1000,
): () => number {
  let lastUs = Number.NEGATIVE_INFINITY;
  let steadyAtLastUs = 0;
  return () => {
    const nowSteadyUs = steadyUs();
    lastUs = Math.max(wallUs(), Math.round(lastUs + nowSteadyUs - steadyAtLastUs));
    steadyAtLastUs = nowSteadyUs;
    return lastUs;
  };
}
