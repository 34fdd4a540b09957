/** What the dialog of a network asks while it is written: what is wrong, the tables, a drawing, and the text of changed tables. */
import type { NodeAPI } from 'node-red';
import { readNetwork } from '../../lib/network-document';
import { drawNetwork } from '../../lib/network-drawing';
import { tablesAsGeojson } from '../../lib/network-geojson';
import { tablesAsCsv, tablesOfNetwork } from '../../lib/network-table-text';
import { type Rows, rowsOf, tablesOfRows, withRows } from './table-rows';

const MOST_PROBLEMS = 50;
/** Rows a table in a dialog can be worked with. */
const MOST_ROWS = 500;

interface Asked {
  readonly text?: unknown;
  readonly openPoints?: unknown;
  readonly id?: unknown;
  /** changed tables: the text is written anew from them, in the form it has */
  readonly rows?: Rows;
  /** for taking away */
  readonly as?: 'csv' | 'geojson';
}

/** POST phaseloom/network/check: what it holds, or what is wrong with it, with tables and a drawing. Changes nothing. */
export function offerCheck(RED: NodeAPI): void {
  RED.httpAdmin.post('/phaseloom/network/check', RED.auth.needsPermission('phaseloom-network.write'), (req, res) => {
    const asked = (req.body ?? {}) as Asked;
    const { text, openPoints } = asked;
    if (typeof text !== 'string' || (openPoints !== undefined && typeof openPoints !== 'string')) {
      res.status(400).json({ ok: false, problems: ['text must be a text, and openPoints, when given, one too'] });
      return;
    }
    const written = asked.rows ? withRows(text, asked.rows) : { text, problems: [] };
    if (written.problems.length > 0) {
      res.json({ ...written, ok: false, rows: asked.rows });
      return;
    }
    res.json({ text: written.text, ...checked(written.text, openPoints, asked), ...takenAway(written.text, asked) });
  });
}

function checked(text: string, openPoints: string | undefined, { id }: Asked) {
  const rows = rowsOf(text);
  const shown = rows && rows.terminals.length + rows.openPoints.length <= MOST_ROWS ? { rows } : {};
  const found = readNetwork({
    text,
    ...(openPoints === undefined ? {} : { openPoints }),
    ...(typeof id === 'string' && id !== '' ? { id } : {}),
  });
  if (!found.ok) return { ok: false, problems: found.problems.slice(0, MOST_PROBLEMS), ...shown };
  const { terminals, sites, openPoints: points } = found.network;
  const holds = { terminals: terminals.size, sites: sites.size, openPoints: points.size };
  return { ok: true, holds, ...shown, drawing: drawNetwork(found.document) };
}

function takenAway(text: string, { as }: Asked) {
  const rows = as && rowsOf(text);
  if (!rows) return {};
  const found = readNetwork({ text });
  const tables = found.ok ? tablesOfNetwork(found.document) : tablesOfRows(rows);
  return { file: as === 'csv' ? tablesAsCsv(tables) : JSON.stringify(tablesAsGeojson(tables), null, 2) };
}
