/** One form for every measurement: a table for people and one JSON line for programs. */

export interface BenchRow {
  readonly what: string;
  readonly value: number;
  readonly unit: string;
  /** what it is held against, measured in the same run */
  readonly peer?: { readonly what: string; readonly value: number };
  /** value / peer, or peer / value where less is better */
  readonly ratio?: number;
  readonly aim?: string;
}

export function report(bench: string, rows: readonly BenchRow[]): void {
  const figure = (n: number) => (Math.abs(n) >= 100 ? Math.round(n).toLocaleString('en-US') : n.toPrecision(3));
  const cells = rows.map((r) => [
    r.what,
    `${figure(r.value)} ${r.unit}`,
    r.peer ? `${r.peer.what}: ${figure(r.peer.value)}` : '',
    r.ratio === undefined ? '' : `${r.ratio.toFixed(2)}x`,
    r.aim ?? '',
  ]);
  const table = [['what', 'measured', 'peer, same run', 'ratio', 'aim'], ...cells];
  const widths = table[0]!.map((_, c) => Math.max(...table.map((row) => row[c]!.length)));
  console.log(`\n${bench}`);
  for (const row of table) console.log(row.map((cell, c) => cell.padEnd(widths[c]!)).join('  '));
  console.log(JSON.stringify({ bench, rows }));
}
