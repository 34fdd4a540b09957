/** An error a flow can act on: a stable code, and a message that says what was wrong, where, and what would be right. */
export class Trouble extends Error {
  constructor(
    readonly code: string,
    message: string,
  ) {
    super(message);
    this.name = 'Trouble';
  }

  /** Node-RED shows an error to people, and catch nodes hand it on, as this: the words alone. */
  override toString(): string {
    return this.message;
  }
}

export const asError = (cause: unknown): Error => (cause instanceof Error ? cause : new Error(String(cause)));
