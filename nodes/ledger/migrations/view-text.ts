/** The text of a view. */

export interface Columns {
  /** beside the table: where members of the record are taken from */
  readonly from: string;
  /** name in the view, and where it comes from */
  readonly columns: Readonly<Record<string, string>>;
}

export function viewOf(name: string, table: string, { from, columns }: Columns, condition?: string): string {
  const list = Object.entries(columns).map(([as, what]) => `${what} as ${as}`);
  return `create view ${name} as select ${list.join(', ')} from ${table}${from}${condition ? ` where ${condition}` : ''}`;
}
