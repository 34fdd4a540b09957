/** Terminals of published feeders as readings: the angle at a node minus that of the reference node. */
import {
  type Connection,
  derivedId,
  type Frame,
  type Identification,
  identify,
  identifySite,
  type Reading,
  type Terminal,
  wrap180,
} from '../../lib';
import { csv } from './data';
import { chance } from './rates/chance';

export interface FeederTerminal extends Terminal {
  readonly truePhase: string;
  readonly angleDeg: number;
}

export interface Tally {
  readonly count: number;
  readonly right: number;
  readonly wrong: readonly string[];
  /** not proven, with the codes of the reasons */
  readonly undecided: readonly {
    readonly terminal: string;
    readonly codes: readonly string[];
    readonly slot: number | null;
  }[];
}

/** Reads each terminal once, with normal noise from a fixed seed, and identifies it by itself. */
export function tally(terminals: readonly FeederTerminal[], frame: Frame, sdDeg: number, seed: number): Tally {
  const dice = chance(seed);
  const found = terminals.map((t) => ({ t, i: one(t, frame, t.angleDeg + sdDeg * dice.normal()) }));
  return {
    count: terminals.length,
    right: found.filter(({ t, i }) => i.phase === t.truePhase).length,
    wrong: found
      .filter(({ t, i }) => i.phase !== null && i.phase !== t.truePhase)
      .map(({ t, i }) => `${t.id} ${i.phase}`),
    undecided: found
      .filter(({ i }) => i.phase === null)
      .map(({ t, i }) => ({ terminal: t.id, codes: i.reasons.map((r) => r.code), slot: i.slot })),
  };
}

/** Reads the conductors of each node in one visit, last phase first, and identifies them together. */
export function siteTally(terminals: readonly FeederTerminal[], frame: Frame, sdDeg: number, seed: number): Tally {
  const dice = chance(seed);
  const sites = Map.groupBy(terminals, (t) => t.id.slice(0, t.id.lastIndexOf('/')));
  const found = [...sites].map(([id, members]) => {
    const conductors = [...members].reverse();
    const readings = conductors.map((t) => ({
      terminal: t.id,
      readings: [readingAt(t, t.angleDeg + sdDeg * dice.normal())],
    }));
    const site = identifySite(readings, frame, { terminals: new Map(members.map((t) => [t.id, t])) });
    return { id, conductors, site };
  });
  return {
    count: sites.size,
    right: found.filter((f) => f.site.permutation?.join() === f.conductors.map((t) => t.truePhase).join()).length,
    wrong: found
      .filter((f) => f.site.identifications.some((i, k) => i.phase !== null && i.phase !== f.conductors[k]!.truePhase))
      .map((f) => f.id),
    undecided: found
      .filter((f) => f.site.permutation === null)
      .map((f) => ({ terminal: f.id, codes: f.site.reasons.map((r) => r.code), slot: null })),
  };
}

function one(terminal: FeederTerminal, frame: Frame, angleDeg: number): Identification {
  return identify([readingAt(terminal, angleDeg)], frame, { terminal });
}

function readingAt(terminal: FeederTerminal, angleDeg: number): Reading {
  const content = {
    kind: 'reading' as const,
    terminal: terminal.id,
    takenAt: '2026-05-04T12:00:00.000000Z',
    angleDeg: wrap180(angleDeg),
    against: 'source',
    clock: { source: 'gnss' as const, errorUs: 1, locked: true },
  };
  return { ...content, id: derivedId('reading', content) };
}

/** Nodes of a solved feeder, without its source: phase to neutral, from the head of the feeder down. */
export function solvedNodes(name: string, head: string): FeederTerminal[] {
  const rows = csv(`${name}_solved_opendss.csv`).filter((r) => r.node !== 'sourcebus');
  const referenceDeg = Number(rows.find((r) => r.node === head && r.phase === 'A')!.angle_deg);
  return rows.map((r) => ({
    id: `${name}/${r.node}/${r.phase}`,
    truePhase: r.phase!,
    angleDeg: wrap180(Number(r.angle_deg) - referenceDeg),
    connection: 'phase-neutral',
    path: [],
  }));
}

/** Service legs of the 8500-node feeder, seen from its source; leg 2 of a centre tap is the reversed connection of leg 1. */
export function serviceLegs(path: readonly string[] | undefined): FeederTerminal[] {
  return csv('ieee8500unbal_solved_opendss.csv.gz')
    .filter((r) => r.secondary_leg !== '')
    .map((r) => ({
      id: `ieee8500/${r.node}/${r.secondary_leg}`,
      truePhase: r.phase!,
      angleDeg: Number(r.angle_deg),
      connection: (r.secondary_leg === 's1' ? 'phase-neutral' : 'phase-neutral-reversed') as Connection,
      ...(path ? { path } : {}),
    }));
}

/**
 * Voltages of the twelve published 4-node cases, seen from the source, phase A at zero. Behind the transformer: D-grY step-down
 * lags by 30 (Dyn1); D-grY step-up leads by 30, being a YNd1 passed from its low to its high side, which turns like Dyn11;
 * D-D and grY-grY turn by nothing. The delta sides are printed phase to phase.
 */
export function fourNodeCases(): FeederTerminal[] {
  return csv('published_ieee4_via_gridlabd.csv')
    .filter((r) => r.quantity!.startsWith('voltage'))
    .map((r) => {
      const node = /\d+$/.exec(r.object_as_written!)?.[0] ?? /\d+$/.exec(r.name!)![0];
      const phases = r.quantity!.split('_')[1]!;
      return {
        id: `${r.case}/${node}/${phases}`,
        truePhase: phases[0]!,
        angleDeg: Number(r.angle_deg),
        connection: phases.length === 2 ? 'phase-phase' : 'phase-neutral',
        path: Number(node) > 2 ? behind(r.case!) : [],
      };
    });
}

function behind(caseName: string): string[] {
  if (caseName.endsWith('D-grY')) return [caseName.includes('stepup') ? 'Dyn11' : 'Dyn1'];
  return [caseName.endsWith('D-D') ? 'Dd0' : 'Yy0'];
}
