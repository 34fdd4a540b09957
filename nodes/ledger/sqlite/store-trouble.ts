/** Trouble of the file as a whole, not of the record being stored: worth waiting for, and everything waits. */
import { Trouble } from '../../kit/trouble';

export class StoreTrouble extends Trouble {}

/** Primary result codes of SQLite (sqlite.org/rescode.html) and what a person can do about each. */
const MEANING: Readonly<Record<number, readonly [code: string, what: string, right: string]>> = {
  5: ['ledger-locked', 'another program holds the file', 'close that program, or let it finish'],
  6: ['ledger-locked', 'another program holds the file', 'close that program, or let it finish'],
  7: ['ledger-memory', 'there is no memory left', 'give the machine more memory'],
  8: [
    'ledger-read-only',
    'the file cannot be written',
    'let the user that runs Node-RED write the file and its folder',
  ],
  10: ['ledger-disk', 'the disk failed to read or write', 'check the disk and its free space'],
  11: [
    'ledger-corrupt',
    'the file is damaged',
    'restore it from a backup, or save what is left with `sqlite3 FILE .recover`',
  ],
  13: ['ledger-disk-full', 'there is no room left', 'free some space on the disk'],
  14: ['ledger-cannot-open', 'the file cannot be opened', 'name a file in a folder that exists and may be written'],
  26: [
    'ledger-not-a-database',
    'the file is not a SQLite database',
    'name another file, or restore this one from a backup',
  ],
};

/** A StoreTrouble when the store is to blame, otherwise the error as it came. */
export function explained(cause: unknown, label: string): unknown {
  const { errcode, message } = (cause ?? {}) as { errcode?: number; message?: string };
  const meaning = errcode === undefined ? undefined : MEANING[errcode & 0xff];
  if (!meaning) return cause;
  const [code, what, right] = meaning;
  return new StoreTrouble(code, `ledger ${label}: ${what} (${message}); ${right}`);
}
