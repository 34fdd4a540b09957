/** What SQLite writes differently when readings are let go. */
import type { RetentionWords } from '../retention/question';

export const sqliteRetention: RetentionWords = {
  texts: (value) => `select value from json_each($${value})`,
  restsOn: (table, condition) =>
    `select value as id from ${table}, json_each(${table}.body, '$.from') where ${condition}
     union select ${table}.body ->> '$.id' from ${table} where ${condition}`,
};

/** Values by number, as SQLite writes them. */
export const numbered = (sql: string): string => sql.replaceAll(/\$(\d+)/g, '?$1');
