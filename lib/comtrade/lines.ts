/** A text file read line by line; what is wrong with it is said with its line and field. */
import type { Problem } from '../records';

/** Stays within this folder: the readers turn it into a result. */
export class Wrong extends Error {
  constructor(readonly problem: Problem) {
    super(problem.what);
  }
}

/** The work's result, or the problem it stumbled over. */
export function attempt<T>(work: () => T): { readonly value: T } | { readonly problem: Problem } {
  try {
    return { value: work() };
  } catch (cause) {
    if (cause instanceof Wrong) return { problem: cause.problem };
    throw cause;
  }
}

const MOST_CHANNELS = 999_999;

/** The lines of a configuration, one after the other, each cut at its commas. Fields are counted from 1, as in the standard's tables. */
export class Lines {
  private readonly lines: readonly string[];
  private at = 0;
  private fields: readonly string[] = [];

  constructor(text: string) {
    this.lines = text.replace(/^\uFEFF/, '').split(/\r\n|\n|\r/);
  }

  /** Goes on to the next line. */
  next(what: string): void {
    const line = this.lines[this.at++];
    if (line === undefined || (line.trim() === '' && this.at === this.lines.length))
      throw this.wrong('line-missing', 'the file ends', what);
    this.fields = line.split(',').map((f) => f.trim());
  }

  /** A field of the line; empty when it is not there. */
  text(field: number): string {
    return this.fields[field - 1] ?? '';
  }

  has(field: number): boolean {
    return this.text(field) !== '';
  }

  number(field: number, what: string): number {
    const value = Number(this.text(field));
    if (!this.has(field) || !Number.isFinite(value))
      throw this.wrong('number-wrong', `${what} is ${JSON.stringify(this.text(field))}`, 'a number', field);
    return value;
  }

  positive(field: number, what: string): number {
    const value = this.number(field, what);
    if (value > 0) return value;
    throw this.wrong('number-wrong', `${what} is ${value}`, 'a number above 0', field);
  }

  /** A whole number from 0 on. */
  whole(field: number, what: string): number {
    const value = this.number(field, what);
    if (Number.isSafeInteger(value) && value >= 0) return value;
    throw this.wrong('number-wrong', `${what} is ${value}`, 'a whole number from 0 on', field);
  }

  /** A number of channels with its letter, as 6A. */
  count(field: number, letter: string): number {
    const m = new RegExp(`^(\\d{1,6})${letter}$`, 'i').exec(this.text(field));
    if (m && Number(m[1]) <= MOST_CHANNELS) return Number(m[1]);
    throw this.wrong(
      'count-wrong',
      `the count is ${JSON.stringify(this.text(field))}`,
      `a number and ${letter}, as 6${letter}`,
      field,
    );
  }

  wrong(code: string, what: string, expected: string, field?: number): Wrong {
    const where = field === undefined ? `line ${this.at}` : `line ${this.at}, field ${field}`;
    const at = field === undefined ? `/cfg/${this.at}` : `/cfg/${this.at}/${field}`;
    return new Wrong({ at, code, what: `${where}: ${what}`, expected });
  }
}
