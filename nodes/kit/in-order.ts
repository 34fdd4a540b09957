/** Lets answers leave in the order in which they were asked for, though some take longer. */
export class InOrder {
  private last: Promise<unknown> | undefined;

  /** The answer itself when nothing before it is underway. One that fails lets the next ones go. */
  after<T>(answer: T | Promise<T>): T | Promise<T> {
    if (!this.last && !(answer instanceof Promise)) return answer;
    const mine = Promise.allSettled([this.last, answer]).then(() => answer);
    const ended = mine
      .catch(() => undefined)
      .then(() => {
        if (this.last === ended) this.last = undefined;
      });
    this.last = ended;
    return mine;
  }
}
