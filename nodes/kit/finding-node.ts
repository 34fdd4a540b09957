/** The nodes that make findings of readings, apart from what they conclude: messages in, findings kept and sent, status. */
import type { Node, NodeAPI } from 'node-red';
import type { Judgement as Finding, Kind, Reading } from '../../lib/records';
import type { Evidence } from './evidence';
import { FindingFlow, type Group, type Rules } from './finding-flow';
import { keep } from './kept-readings';
import { type Emitted, type Ports, serve } from './serve';
import type { StatusLight } from './status';
import { Tally } from './tally';
import { Trouble } from './trouble';

export interface FindingSettings {
  readonly accepts: readonly Kind[];
  readonly waitMs: number;
  /** what came in goes on as well, before the findings */
  readonly passesOn: boolean;
  /** which findings are sent; all are kept */
  readonly sends?: (finding: Finding) => boolean;
}

export function runFindingNode<G extends Group>(
  RED: NodeAPI,
  node: Node,
  light: StatusLight,
  evidence: Evidence,
  settings: FindingSettings,
  rules: Rules<G>,
): void {
  const tally = new Tally(RED, node, light);
  const { ledger } = evidence;
  const sent = (findings: readonly Finding[]) => {
    tally.count(findings);
    return settings.sends ? findings.filter(settings.sends) : findings;
  };
  const kept = (findings: readonly Finding[], how?: 'anew'): readonly Finding[] | Promise<readonly Finding[]> => {
    if (!ledger || findings.length === 0) return sent(findings);
    return keep(ledger, findings, how).then(() => sent(findings));
  };
  const late = async (reading: Reading, findings: readonly Finding[]) => {
    for (const payload of await kept(findings, 'anew')) node.send({ payload, reading } as never);
  };
  const flow = new FindingFlow(
    { ...evidence, waitMs: settings.waitMs, late: (r, f) => void late(r, f).catch((cause) => node.error(cause)) },
    rules,
  );
  serve(node, {
    accepts: settings.accepts,
    each: (record, reading, seq) => {
      if (!reading)
        throw new Trouble('reading-missing', `msg.reading is missing: a ${record.kind} does not say all that was read`);
      const passed: readonly Emitted[] = settings.passesOn ? [record] : [];
      const found = flow.take(reading, seq);
      const ports = (findings: readonly Finding[]): Ports => [
        passed.length === 0 ? findings : [...passed, ...findings],
      ];
      if (isPromise(found)) return found.then((f) => kept(f)).then(ports);
      const stored = kept(found);
      return isPromise(stored) ? stored.then(ports) : ports(stored);
    },
  });
  node.on('close', (done: () => void) => {
    flow.close().finally(() => {
      light.close();
      done();
    });
  });
}

const isPromise = <T>(value: T | Promise<T>): value is Promise<T> =>
  typeof (value as { then?: unknown } | null)?.then === 'function';
