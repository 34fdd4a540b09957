/** A small invented feeder: a trunk of twelve sections m1 to m12 with a joint at m7, with terminals at five of them; and identifications there. */
import type { Identification } from '../../lib';
import { type Feeder, type FeederDocument, makeFeeder } from '../../lib/feeder/model';

const PHASES = ['A', 'B', 'C'] as const;

export const trunk = (id = 'F'): FeederDocument => ({
  id,
  source: 'n0',
  sections: Array.from({ length: 12 }, (_, i) => ({
    id: `m${i + 1}`,
    from: `n${i}`,
    to: `n${i + 1}`,
    phases: PHASES,
    kind: i === 6 ? ('joint' as const) : ('span' as const),
  })),
  terminals: [3, 6, 9, 10, 12].flatMap((k) =>
    PHASES.map((phase) => ({ id: `t${k}${phase}`, section: `m${k}`, phase })),
  ),
});

export const feederOf = (document: FeederDocument): Feeder => makeFeeder(document);

/** Angle of a phase of the source, two degrees off. */
export const angle = (phase: string): number => [0, -120, 120]['ABC'.indexOf(phase)]! + 2;

export const identificationAt = (terminal: string, angleDeg: number, at: string): Identification => ({
  kind: 'identification',
  id: `pi-${terminal}-${angleDeg}-${at}`,
  at,
  from: [],
  terminal,
  verdict: 'identified',
  phase: 'A',
  connection: 'phase-neutral',
  slot: 0,
  probability: 1,
  candidates: [],
  angleDeg,
  expectedDeg: 0,
  residualDeg: 0,
  sdDeg: 4,
  reference: 'ref',
  recordedPhase: null,
  agreesWithRecord: null,
  reasons: [],
});
