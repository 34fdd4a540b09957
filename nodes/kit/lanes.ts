/** Work that must be done in order, group by group; groups do not wait for each other. */
interface Grouped {
  readonly id: string;
}

export class Lanes {
  private readonly last = new Map<string, Promise<unknown>>();

  /** Resolves when what is underway for any of the groups has ended; undefined when nothing is. */
  busy(groups: readonly Grouped[]): Promise<unknown> | undefined {
    if (this.last.size === 0) return undefined;
    const underway = groups.flatMap((g) => this.last.get(g.id) ?? []);
    return underway.length === 0 ? undefined : Promise.all(underway);
  }

  /** Puts work into the lanes of its groups. */
  enter<T>(groups: readonly Grouped[], work: Promise<T>): Promise<T> {
    const ended: Promise<void> = work
      .then(
        () => undefined,
        () => undefined,
      )
      .then(() => {
        for (const { id } of groups) if (this.last.get(id) === ended) this.last.delete(id);
      });
    for (const { id } of groups) this.last.set(id, ended);
    return work;
  }
}
