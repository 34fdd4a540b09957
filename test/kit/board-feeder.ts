/** A board that shows whole invented feeders: documents of any size whose conductors really stand somewhere, and readings there. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { FeederDocument } from '../../lib/feeder/model';
import { image } from '../../lib/feeder/permutation';
import type { Identification } from '../../lib/records';
import { chance } from '../outside/rates/chance';
import { makeWorld } from '../outside/rates/feeder-world';
import { angle, identificationAt } from './feeder-trunk';
import { ledgerOf, newLedger } from './ledger-in-flow';
import type { FlowNode, Rig } from './node-red';

const PHASES = ['A', 'B', 'C'] as const;
const AT = '2026-05-04T10:00:00.000000Z';

export interface InventedFeeder {
  readonly document: FeederDocument;
  /** of the sections that were read */
  readonly identifications: readonly Identification[];
}

/** A feeder of so many sections; a fifth have terminals, and of these every fourth was read. The same seed, the same feeder. */
export function inventedFeeder(sections: number, seed: number): InventedFeeder {
  const dice = chance(seed);
  const { tree, truth } = makeWorld(dice, sections + 1);
  const rows = Array.from({ length: sections }, (_, i) => i + 1);
  const present = (v: number) => PHASES.filter((_, j) => (tree.mask[v]! >> j) & 1);
  const placed = rows.filter(() => dice.uniform() < 0.2);
  const terminals = placed.flatMap((v) =>
    present(v).map((phase) => ({ id: `S${v}/${phase}`, section: `S${v}`, phase })),
  );
  const read = placed.filter(() => dice.uniform() < 0.25);
  const identifications = read.flatMap((v) =>
    present(v).map((phase) => {
      const really = PHASES[image(truth[v]!, PHASES.indexOf(phase))]!;
      return identificationAt(`S${v}/${phase}`, angle(really) + 4 * dice.normal(), AT);
    }),
  );
  const document: FeederDocument = {
    id: `F${sections}`,
    name: `Invented feeder of ${sections} sections`,
    source: 'n0',
    sections: rows.map((v) => ({
      id: `S${v}`,
      from: `n${tree.parent[v]}`,
      to: `n${v}`,
      phases: present(v),
      kind: tree.changePrior[v]! > 0.01 ? ('joint' as const) : ('span' as const),
    })),
    terminals,
  };
  return { document, identifications };
}

/** A board, a ledger, and a node that traces the feeder from a file; resolves when the first trace has come out. */
export async function deployFeeder(
  rig: Rig,
  { document, identifications }: InventedFeeder,
  ...more: FlowNode[]
): Promise<void> {
  writeFileSync(join(rig.userDir, 'feeder.json'), JSON.stringify(document));
  await rig.deploy([
    { id: 'frame', type: 'phaseloom-frame', frameId: 'f' },
    newLedger(),
    { id: 'board', type: 'phaseloom-board', path: '/phaseloom', ledger: 'ledger', frame: 'frame' },
    {
      id: 'trace',
      type: 'phaseloom-feeder-trace',
      frame: 'frame',
      ledger: 'ledger',
      feederFrom: 'file',
      file: 'feeder.json',
      gatherS: 0.05,
      wires: [['traces', 'desk'], ['decided'], []],
    },
    { id: 'desk', type: 'phaseloom-alert-desk', ledger: 'ledger', holdS: 0, wires: [[]] },
    rig.probe('traces'),
    rig.probe('decided'),
    ...more,
  ]);
  const ledger = await ledgerOf(rig);
  await Promise.all(identifications.map((i) => ledger.keep(i)));
  rig.send('trace', { payload: identifications });
  await rig.until('traces', 1, 20_000);
}
