/**
 * Checks against what others published, one row each. The files in `rows/` hold the rows (`title` and `rows`, no mocha);
 * test files run them with `checkRows`, and `npm run verify` prints them as a table.
 */

export interface CheckRow {
  readonly what: string;
  /** document and place; "from memory" where it was not seen, "common practice, no source" for a fact of the trade */
  readonly source: string;
  /** how far the source can be trusted */
  readonly confidence: 'high' | 'medium' | 'low';
  /** the right figure; where the source prints a wrong one, the true one */
  readonly expected: number | string;
  readonly got: () => number | string;
  /** largest deviation that passes, in the unit of `expected`; 0 for texts */
  readonly tolerance: number;
  /** the figure the source prints, where it is wrong: the row fails if we agree with it */
  readonly wrongInSource?: number;
  readonly note?: string;
}

/** What a file in `rows/` exports. */
export interface CheckSet {
  readonly title: string;
  readonly rows: readonly CheckRow[];
}

export interface Checked {
  readonly got: number | string;
  /** |got - expected|; for texts 0 when equal, else infinite */
  readonly deviation: number;
  readonly pass: boolean;
  /** empty when the row passes */
  readonly trouble: string;
}

export function check(row: CheckRow): Checked {
  const got = row.got();
  const deviation = deviationOf(got, row.expected);
  const near = deviation <= row.tolerance;
  const fooled = row.wrongInSource !== undefined && deviationOf(got, row.wrongInSource) <= row.tolerance;
  const trouble = near
    ? fooled
      ? `agrees with ${row.wrongInSource}, which is wrong in the source`
      : ''
    : `expected ${row.expected}, got ${got}, deviation ${deviation}, tolerance ${row.tolerance}`;
  return { got, deviation, pass: trouble === '', trouble };
}

function deviationOf(got: number | string, expected: number | string): number {
  if (typeof got !== typeof expected) return Number.POSITIVE_INFINITY;
  if (typeof got === 'string') return got === expected ? 0 : Number.POSITIVE_INFINITY;
  const deviation = Math.abs(got - (expected as number));
  return Number.isNaN(deviation) ? Number.POSITIVE_INFINITY : deviation;
}

/** One mocha test per row; the source is in the title. */
export function checkRows(title: string, rows: readonly CheckRow[]): void {
  describe(title, () => {
    it('has rows', () => {
      if (rows.length === 0) throw new Error(`${title}: no rows`);
    });
    for (const row of rows) {
      it(`${row.what} = ${row.expected} [${row.source}]`, () => {
        const { pass, trouble } = check(row);
        if (!pass) throw new Error(`${row.what}: ${trouble} [${row.source}]`);
      });
    }
  });
}
