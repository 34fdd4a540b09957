/** Signs that another client uses our client id: the two take the session from each other for ever. */

/** A connection that lasted less was no good. */
const SHORT_MS = 10_000;

export class Rivals {
  private takeovers = 0;
  private shortLived = 0;

  constructor(private readonly clientId: string) {}

  /**
   * A connection has ended. MQTT 5 says that a session was taken over; before, connections that never last are the only sign.
   * @param lastedMs how long it was connected; 0 when it never was
   * @returns what a person should hear of it, when it has happened often enough
   */
  ended(why: string, takenOver: boolean, lastedMs: number): string | undefined {
    if (takenOver) this.takeovers++;
    this.shortLived = lastedMs > 0 && lastedMs < SHORT_MS ? this.shortLived + 1 : 0;
    const isRepeated = takenOver ? this.takeovers >= 2 : this.shortLived === 3;
    if (!isRepeated) return undefined;
    const rival = takenOver
      ? 'another client uses'
      : `the connection never lasts (${why}); perhaps another client uses`;
    return `${rival} our client id ${this.clientId}: give each its own`;
  }
}
