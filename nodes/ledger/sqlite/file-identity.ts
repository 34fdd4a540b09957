/** Which file it is, however its name may change hands. */
import { statSync } from 'node:fs';

/** Undefined when there is none. */
export const identityOf = (file: string): string | undefined => {
  const at = file === ':memory:' ? undefined : statSync(file, { throwIfNoEntry: false });
  return at && `${at.dev}:${at.ino}`;
};
