/** Comma-separated values after RFC 4180, with the row numbers that people see in their spreadsheet. */

export interface CsvRow {
  /** 1 is the first line of the text */
  readonly row: number;
  readonly fields: readonly string[];
}

/**
 * Rows of a text. The separator is a comma, semicolon or tab: whichever comes first in the text outside quotes. Fields are trimmed
 * unless quoted. Rows without content come back with no fields.
 * @example parseCsv('a;b').map((r) => r.fields) // [['a', 'b']]
 */
export function parseCsv(text: string): readonly CsvRow[] {
  const clean = text.replace(/^\uFEFF/, '');
  const separator = /[,;\t]/.exec(clean.replace(/"[^"]*"/g, ''))?.[0] ?? ',';
  const rows: CsvRow[] = [];
  let at = 0;
  let row = 1;
  while (at < clean.length) {
    const line = readLine(clean, at, separator);
    const isEmpty = line.fields.every((f) => f === '');
    rows.push({ row, fields: isEmpty ? [] : line.fields });
    row += line.breaks;
    at = line.end;
  }
  return rows;
}

interface Line {
  readonly fields: readonly string[];
  readonly end: number;
  /** line breaks passed, those within quotes included */
  readonly breaks: number;
}

function readLine(text: string, start: number, separator: string): Line {
  const fields: string[] = [];
  let at = start;
  let breaks = 0;
  for (;;) {
    const field =
      text[skipBlanks(text, at, separator)] === '"' ? quoted(text, at, separator) : plain(text, at, separator);
    fields.push(field.value);
    breaks += field.breaks;
    at = field.end;
    if (text[at] !== separator) break;
    at++;
  }
  const end = text[at] === '\r' && text[at + 1] === '\n' ? at + 2 : at + 1;
  return { fields, end, breaks: breaks + 1 };
}

interface Field {
  readonly value: string;
  readonly end: number;
  readonly breaks: number;
}

const isBreak = (c: string | undefined): boolean => c === undefined || c === '\n' || c === '\r';

function skipBlanks(text: string, start: number, separator: string): number {
  let at = start;
  while ((text[at] === ' ' || text[at] === '\t') && text[at] !== separator) at++;
  return at;
}

function plain(text: string, start: number, separator: string): Field {
  let at = start;
  while (!isBreak(text[at]) && text[at] !== separator) at++;
  return { value: text.slice(start, at).trim(), end: at, breaks: 0 };
}

/** A doubled quote stands for one; what follows the closing quote up to the separator is kept, so that nothing is lost unseen. */
function quoted(text: string, start: number, separator: string): Field {
  let at = skipBlanks(text, start, separator) + 1;
  let value = '';
  while (at < text.length) {
    if (text[at] !== '"') value += text[at++];
    else if (text[at + 1] === '"') {
      value += '"';
      at += 2;
    } else break;
  }
  const rest = plain(text, at + 1, separator);
  return { value: value + rest.value, end: rest.end, breaks: (value.match(/\n/g) ?? []).length };
}

/**
 * A field of a table that people open in a spreadsheet, as RFC 4180 wants it: a text that would be taken for a formula gets an apostrophe
 * in front, so it does not read back as it was.
 * @example spreadsheetField('=1+1') // "'=1+1"
 */
export function spreadsheetField(value: string | number): string {
  const text = typeof value === 'string' && /^[=+\-@\t\r]/.test(value) ? `'${value}` : String(value);
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
