/** Checks a network while it is being written in the editor. */
import type { NodeAPI } from 'node-red';
import { readNetwork } from '../../lib/network-document';

const MOST_PROBLEMS = 50;

/** POST phaseloom/network/check with { text, openPoints?, id? }: what it holds, or what is wrong with it. Changes nothing. */
export function offerCheck(RED: NodeAPI): void {
  RED.httpAdmin.post('/phaseloom/network/check', RED.auth.needsPermission('phaseloom-network.write'), (req, res) => {
    const { text, openPoints, id } = (req.body ?? {}) as Record<string, unknown>;
    if (typeof text !== 'string' || (openPoints !== undefined && typeof openPoints !== 'string')) {
      res.status(400).json({ ok: false, problems: ['text must be a text, and openPoints, when given, one too'] });
      return;
    }
    res.json(checked(text, openPoints as string | undefined, id));
  });
}

function checked(text: string, openPoints: string | undefined, id: unknown) {
  const found = readNetwork({
    text,
    ...(openPoints === undefined ? {} : { openPoints }),
    ...(typeof id === 'string' && id !== '' ? { id } : {}),
  });
  if (!found.ok) return { ok: false, problems: found.problems.slice(0, MOST_PROBLEMS) };
  const { terminals, sites, openPoints: points } = found.network;
  return { ok: true, holds: { terminals: terminals.size, sites: sites.size, openPoints: points.size } };
}
