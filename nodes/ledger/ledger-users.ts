/** Who finishes something when the flow is stopped. Node-RED closes all nodes at once, the ledger among them; it stays open for these. */

export class LedgerUsers {
  private readonly using = new Set<object>();
  private told: () => void = () => undefined;

  /** Returns the way to let go. */
  hold(): () => void {
    const user = {};
    this.using.add(user);
    return () => {
      this.using.delete(user);
      if (this.using.size === 0) this.told();
    };
  }

  /** Resolves when all have let go, when waiting is `vain`, or after a time. */
  async gone(withinMs: number, isVain: () => Promise<boolean>): Promise<void> {
    if (this.using.size === 0) return;
    await new Promise<void>((resolve) => {
      const timer = setTimeout(resolve, withinMs);
      this.told = () => {
        clearTimeout(timer);
        resolve();
      };
      void isVain().then((vain) => {
        if (vain) this.told();
      }, this.told);
    });
  }
}
