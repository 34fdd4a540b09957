/** A long list of which only the pages about what is in sight are kept; those passed by are asked for again. */

export const PAGE = 200;
/** pages kept before and after those in sight */
const BESIDE = 5;
/** rows before the end of a page at which the next one is asked for */
const AHEAD = 60;

export interface PageAnswer<T> {
  readonly items: readonly T[];
  /** where the next page begins, where pages must be asked for one after the other */
  readonly next?: string;
  /** of the whole list, where the board knows it: then every page may be asked for at once */
  readonly count?: number;
}

export type AskPage<T> = (page: number, after: string | undefined) => Promise<PageAnswer<T>>;

export class KeptPages<T> {
  private readonly pages = new Map<number, readonly T[]>();
  private readonly starts = new Map<number, string | undefined>([[0, undefined]]);
  private readonly asking = new Set<number>();
  private readonly stale = new Set<number>();
  private first = 0;
  private last = 0;
  private isClosed = false;

  /** rows known of so far */
  count = 0;
  isCounted = false;
  isAsked = false;
  error: string | undefined;

  constructor(
    private readonly ask: AskPage<T>,
    private readonly changed: () => void,
  ) {}

  itemAt(place: number): T | undefined {
    return this.pages.get(Math.floor(place / PAGE))?.[place % PAGE];
  }

  /** Place of the first item here that fits, or -1. */
  placeOf(fits: (item: T) => boolean): number {
    for (const [page, items] of this.pages) {
      const within = items.findIndex(fits);
      if (within >= 0) return page * PAGE + within;
    }
    return -1;
  }

  /** These rows are looked at. */
  see(from: number, upTo: number): void {
    this.first = Math.floor(Math.max(0, from - AHEAD) / PAGE);
    this.last = Math.floor((upTo + AHEAD) / PAGE);
    for (const page of this.pages.keys()) if (this.isFar(page)) this.pages.delete(page);
    this.askMissing();
  }

  /** The list may have changed: what is in sight is asked for again, and stands until the answer comes. */
  again(): void {
    for (const page of this.asking) this.stale.add(page);
    for (const page of this.pages.keys()) {
      if (page >= this.first && page <= this.last) this.stale.add(page);
      else this.pages.delete(page);
    }
    this.askMissing();
  }

  close(): void {
    this.isClosed = true;
  }

  private isFar = (page: number): boolean => page < this.first - BESIDE || page > this.last + BESIDE;

  private askMissing(): void {
    for (let page = this.first; page <= this.last; page++) {
      const isWanted = !this.pages.has(page) || this.stale.has(page);
      const canAsk = this.starts.has(page) || (this.isCounted && page * PAGE < this.count);
      if (isWanted && canAsk && !this.asking.has(page)) void this.fetch(page);
    }
  }

  private async fetch(page: number): Promise<void> {
    this.asking.add(page);
    this.stale.delete(page);
    try {
      this.take(page, await this.ask(page, this.starts.get(page)));
      this.error = undefined;
    } catch (cause) {
      this.error = (cause as Error).message;
    }
    this.asking.delete(page);
    this.isAsked = true;
    if (this.isClosed) return;
    if (this.error === undefined) this.askMissing();
    this.changed();
  }

  private take(page: number, { items, next, count }: PageAnswer<T>): void {
    this.pages.set(page, items);
    this.isCounted = count !== undefined || next === undefined;
    if (count !== undefined) this.count = count;
    else if (next === undefined) this.count = page * PAGE + items.length;
    else {
      this.starts.set(page + 1, next);
      this.count = Math.max(this.count, page * PAGE + items.length);
    }
  }
}
