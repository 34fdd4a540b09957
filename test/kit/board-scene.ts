/** A board with something on it: the IEEE 13-node feeder read by an invented crew, and an invented tie that was landed rolled. */
import type { Reading } from '../../lib/records';
import { at, type BUSES, feeder13, feeder13Config, readAt, referenceAt } from './feeder13';
import { admitted, newLedger } from './ledger-in-flow';
import type { Rig } from './node-red';

const places = (bus: string) => ['1', '2', '3'].map((k) => `${bus}/${k}`);
const TIE = { id: 'TIE-4', name: 'Fenwick Road', left: places('633'), right: places('680') };
/** Names are as long as people make them; a list of them must not widen a page on a phone. */
const LONG_NAME = 'Fenwick Road, second pole after the regulators, beside the pump house';
const CREW = { by: 'crew 4', sigmaDeg: 0.5 };

export async function deployScene(rig: Rig): Promise<void> {
  const { sites: bare = [] } = feeder13();
  const sites = bare.map((s) => (s.id === '692' ? { ...s, name: LONG_NAME } : s));
  const judging = { frame: 'frame', network: 'network', ledger: 'ledger' };
  await rig.deploy([
    ...feeder13Config(feeder13({ openPoints: [TIE], sites })),
    newLedger(),
    { id: 'board', type: 'phaseloom-board', path: '/phaseloom', ...judging },
    { id: 'pid', type: 'phaseloom-phase-id', ...judging, passOn: true, wires: [['desk']] },
    { id: 'rot', type: 'phaseloom-rotation', ...judging, wires: [['desk']] },
    { id: 'tie', type: 'phaseloom-tie-check', ...judging, wires: [['desk']] },
    { id: 'desk', type: 'phaseloom-alert-desk', ledger: 'ledger', holdS: 0, wires: [['p']] },
    rig.probe('p'),
  ]);
}

/** The first site and the left side of the tie, as the record has them. */
export const leftSide = (): Reading[] => site('632', 'ABC', 0).concat(site('633', 'ABC', 10));
/** The right side of the tie, read with another instrument: every conductor is one place on. */
export const rolledSide = (): Reading[] => site('680', 'BCA', 13);
/** Two sites more; one with two conductors changed about. */
export const others = (): Reading[] => site('671', 'ABC', 60).concat(site('675', 'ACB', 90));

const site = (bus: (typeof BUSES)[number], phases: string, from: number): Reading[] =>
  places(bus).map((terminal, k) =>
    readAt(terminal, {
      atUs: at(from + k),
      really: phases[k] as 'A',
      over: { ...CREW, instrument: { id: bus === '680' ? 'P-02' : 'P-01' } },
    }),
  );

/** Stores readings and sends them to the nodes that judge, as the front door does. */
export async function take(rig: Rig, readings: readonly Reading[]): Promise<void> {
  await admitted(rig, referenceAt(at(0)));
  for (const msg of await admitted(rig, ...readings)) for (const id of ['pid', 'rot', 'tie']) rig.send(id, msg);
}
