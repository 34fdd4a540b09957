/** Load lists of the IEEE test feeders as loading documents, and random feeders. */
import type { LoadEntry, LoadingDocument } from '../../lib/loading/model';
import { csv } from '../outside/data';

const nominal = (kV: number) => (1000 * kV) / Math.sqrt(3);

/** The loads of a test feeder as published; single-phase ones may move. */
export const publishedLoads = (file: string, place: (bus: string) => string): LoadEntry[] =>
  csv(file).map((row) => ({
    id: row.name!,
    section: place(row.bus!),
    phases: [...row.phases!],
    kW: Number(row.kw),
    kvar: Number(row.kvar),
    movable: row.phases!.length === 1,
    threePhase: row.phases!.length === 3,
  }));

/** IEEE 123-node spot loads, all felt at the head of the feeder; loads between phases count one half on each. */
export const ieee123AtHead = (): LoadingDocument => ({
  id: 'ieee123',
  source: '150',
  voltageV: nominal(4.16),
  betweenPhases: 'evenly',
  sections: [{ id: 'head', from: '150', to: '149', phases: ['A', 'B', 'C'] }],
  loads: publishedLoads('ieee123_loads.csv', () => 'head'),
});

/** A main of so many sections in a row and single-phase taps spread over them; the same seed, the same feeder. */
export function randomFeeder(taps: number, sections: number, seed: number, snapshots = 1): LoadingDocument {
  let a = seed;
  const random = () => {
    a = (Math.imul(a, 1664525) + 1013904223) >>> 0;
    return a / 2 ** 32;
  };
  const phases = ['A', 'B', 'C'];
  const weights = [0.5, 0.3, 0.2];
  const phase = () => {
    const r = random();
    return phases[r < weights[0]! ? 0 : r < weights[0]! + weights[1]! ? 1 : 2]!;
  };
  const day = (kW: number) =>
    snapshots === 1 ? kW : Array.from({ length: snapshots }, () => kW * (0.4 + 0.6 * random()));
  return {
    id: `random-${taps}-${sections}-${seed}`,
    source: 'n0',
    voltageV: nominal(12.47),
    sections: Array.from({ length: sections }, (_, i) => ({
      id: `s${i + 1}`,
      from: `n${i}`,
      to: `n${i + 1}`,
      phases,
    })),
    ...(snapshots === 1 ? {} : { snapshots: Array.from({ length: snapshots }, (_, t) => ({ id: `t${t + 1}` })) }),
    loads: Array.from({ length: taps }, (_, i) => {
      const kW = 5 + 45 * random();
      return {
        id: `tap${i + 1}`,
        section: `s${1 + Math.floor(sections * random())}`,
        phases: [phase()],
        kW: day(kW),
        kvar: day(kW * 0.4),
        movable: true,
      };
    }),
  };
}
