/**
 * The IEEE PES 13-node test feeder, solved by OpenDSS (test/outside/data), as a network and as readings of it. Node 650 is the
 * substation's low-voltage bus: its phase A serves as the reference. Everything below it is at its level, apart from 634.
 */
import { formatInstant, type NetworkDocument, type Reading } from '../../lib';
import { parseReading } from '../../lib/reading';
import { csv } from '../outside/data';

interface Solved {
  readonly angleDeg: number;
  readonly voltageV: number;
}

export const PHASES = ['A', 'B', 'C'] as const;
type Phase = (typeof PHASES)[number];

const rows = csv('ieee13_solved_opendss.csv');
/** Angle and phase-to-neutral voltage of a node, as solved. */
export const solved = new Map<string, Solved>(
  rows.map((r) => [`${r.node}/${r.phase}`, { angleDeg: Number(r.angle_deg), voltageV: Number(r.v_volts_ln) }]),
);
export const BUSES = ['632', '633', '671', '675', '680', '692'] as const;

export const REFERENCE_TERMINAL = '650/A';
/** True frequency of the invented network during the tests, Hz. */
export const GRID_HZ = 59.98;

/** Terminals are called by the solved node, with the place the record gives them: 632/1 is recorded as phase A. */
export function feeder13(more: Partial<NetworkDocument> = {}): NetworkDocument {
  const terminals = BUSES.flatMap((bus) =>
    PHASES.map((recordedPhase, k) => ({
      id: `${bus}/${k + 1}`,
      site: bus,
      recordedPhase,
      connection: 'phase-neutral' as const,
      nominalV: 4160,
      path: [],
    })),
  );
  const sites = BUSES.map((id) => ({
    id,
    terminals: PHASES.map((_, k) => `${id}/${k + 1}`),
    viewing: 'left-to-right' as const,
  }));
  return { id: 'ieee13', terminals: [...terminals, { id: REFERENCE_TERMINAL }], sites, ...more };
}

export interface Taken {
  readonly atUs: number;
  /** phase that the conductor really is; by the number of the terminal when left out */
  readonly really?: Phase;
  readonly against?: 'utc' | 'SUB';
  readonly over?: Partial<Reading>;
}

const EPOCH_US = 1_777_900_000e6;
/** An instant of the tests, microseconds. */
export const at = (seconds: number): number => EPOCH_US + Math.round(seconds * 1e6);

/** What an instrument with a good clock reads at a terminal such as 671/2: the solved angle of the conductor's real phase. */
export function readAt(terminal: string, { atUs, really, against = 'SUB', over = {} }: Taken): Reading {
  const [node, place] = terminal.split('/') as [string, string];
  const phase = really ?? PHASES[Number(place) - 1] ?? 'A';
  const { angleDeg, voltageV } = solved.get(`${node}/${phase}`)!;
  // Against UTC every angle turns with the deviation of the frequency (IEC/IEEE 60255-118-1).
  const turn = 360 * (GRID_HZ - 60) * ((atUs - EPOCH_US) / 1e6) + 73;
  const angle = against === 'utc' ? angleDeg + turn : angleDeg - solved.get('650/A')!.angleDeg;
  const made = parseReading({
    terminal,
    takenAt: formatInstant(atUs),
    angleDeg: ((((angle + 180) % 360) + 360) % 360) - 180,
    against,
    sigmaDeg: 1,
    voltageV,
    voltageIs: 'phase-to-neutral',
    frequencyHz: GRID_HZ,
    clock: { source: 'gnss', errorUs: 1, locked: true },
    coupling: 'contact',
    instrument: { id: 'P-01', selfTest: 'pass', batteryPct: 80 },
    ...over,
  });
  if (!made.ok) throw new Error(JSON.stringify(made.problems));
  return made.reading;
}

/** A reading of the reference station, against UTC. */
export const referenceAt = (atUs: number): Reading =>
  readAt(REFERENCE_TERMINAL, {
    atUs,
    really: 'A',
    against: 'utc',
    over: { instrument: { id: 'S-650' }, sigmaDeg: 0.1 },
  });

/** Config nodes for a flow: `frame`, `network`, `ref`. */
export function feeder13Config(document: NetworkDocument = feeder13(), over: Record<string, unknown> = {}) {
  return [
    {
      id: 'ref',
      type: 'phaseloom-reference',
      referenceId: 'SUB',
      terminal: REFERENCE_TERMINAL,
      phase: 'A',
      offsetSdDeg: 0.2,
    },
    { id: 'frame', type: 'phaseloom-frame', frameId: 'ieee13', reference: 'ref', ...over },
    { id: 'network', type: 'phaseloom-network', source: 'inline', document: JSON.stringify(document) },
  ];
}
