/** The feeder and the flow that the long and the timed runs load: readings in, screen, phase id, tie check, alert desk, out. */
import type { NetworkDocument } from '../../../lib';
import type { FlowNode } from '../../kit/node-red';

/** Angles of phases A, B, C against the reference, degrees. */
export const ANGLES_DEG = [0, -120, 120] as const;

export const siteId = (site: number) => `hollin-bank/F3/S${site}`;
export const terminalId = (site: number, conductor: number) => `${siteId(site)}/${conductor + 1}`;
/** A place with one conductor that is recorded on phase A and read once, on phase B: one alert. */
export const surpriseId = (n: number) => `hollin-bank/F3/X${n}/1`;

const conductors = (site: number) => [0, 1, 2].map((k) => terminalId(site, k));

/** Sites that crews go round have three conductors each, every tenth an open point to the next. */
export function network(siteCount: number, surprises: number): NetworkDocument {
  const sites = Array.from({ length: siteCount }, (_, s) => s);
  const lone = Array.from({ length: surprises }, (_, n) => surpriseId(n));
  const connection = 'phase-neutral' as const;
  return {
    id: 'load',
    terminals: [
      ...sites.flatMap((s) =>
        conductors(s).map((id, k) => ({ id, site: siteId(s), recordedPhase: 'ABC'[k]!, connection })),
      ),
      ...lone.map((id) => ({ id, site: id.slice(0, -2), recordedPhase: 'A', connection })),
    ],
    sites: sites.map((s) => ({ id: siteId(s), terminals: conductors(s), viewing: 'left-to-right' as const })),
    openPoints: sites
      .filter((s) => s % 10 === 0)
      .map((s) => ({ id: `OP${s}`, left: conductors(s), right: conductors(s + 1) })),
  };
}

export interface FlowOptions {
  readonly port: number;
  readonly sites: number;
  readonly surprises: number;
  readonly topic: string;
  readonly output: 'single' | 'batches';
  readonly file: string;
  /** readings of one conductor taken within this time are judged together, seconds */
  readonly combineS?: number;
}

/** Every reading, finding and alert is kept in one SQLite ledger at full durability; alerts go out by core mqtt out. */
export function flow({ port, sites, surprises, topic, output, file, combineS = 60 }: FlowOptions): FlowNode[] {
  const evidence = { frame: 'frame', network: 'network', ledger: 'ledger' };
  return [
    {
      id: 'broker',
      type: 'mqtt-broker',
      broker: '127.0.0.1',
      port: String(port),
      protocolVersion: '5',
      keepalive: '60',
    },
    { id: 'reference', type: 'phaseloom-reference', referenceId: 'SUB', terminal: 'hollin-bank/SUB/1', phase: 'A' },
    { id: 'frame', type: 'phaseloom-frame', frameId: 'load', reference: 'reference' },
    { id: 'network', type: 'phaseloom-network', source: 'inline', document: JSON.stringify(network(sites, surprises)) },
    { id: 'ledger', type: 'phaseloom-ledger', file },
    {
      id: 'in',
      type: 'phaseloom-readings-in',
      broker: 'broker',
      ledger: 'ledger',
      topics: [`${topic}/#`],
      output,
      wires: [['screen'], []],
    },
    { id: 'screen', type: 'phaseloom-screen', ...evidence, wires: [['id'], []] },
    { id: 'id', type: 'phaseloom-phase-id', ...evidence, combineS, wires: [['tie']] },
    { id: 'tie', type: 'phaseloom-tie-check', ...evidence, combineS, passOn: true, wires: [['desk']] },
    { id: 'desk', type: 'phaseloom-alert-desk', ledger: 'ledger', holdS: '0', perMinute: '100000', wires: [['out']] },
    { id: 'out', type: 'mqtt out', topic: `${topic}-alerts`, qos: '1', retain: 'false', broker: 'broker', wires: [] },
  ];
}
