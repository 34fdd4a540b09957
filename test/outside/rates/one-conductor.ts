/** Acceptance target 1: one reading, by class set and uncertainty; unknown time never accepted. */
import { type Connection, identify, makeFrame, type Reading, type Terminal, wrap180 } from '../../../lib';
import { judge } from '../../../lib/identify-judge';
import { voltageWeights } from '../../../lib/magnitude';
import { type PhaseClasses, phaseClasses } from '../../../lib/phase-classes';
import { type Chance, chance } from './chance';
import type { Rate } from './rate';

const EVERY: readonly Connection[] = ['phase-neutral', 'phase-neutral-reversed', 'phase-phase', 'phase-phase-reversed'];

interface Case {
  readonly what: string;
  readonly connections: readonly Connection[];
  readonly sdDeg: number;
  readonly withVoltage?: boolean;
  readonly falseMost: number;
  readonly undecidedMost: number;
}

const CASES: readonly Case[] = [
  { what: 'phase-neutral, sd 10', connections: EVERY.slice(0, 1), sdDeg: 10, falseMost: 3e-6, undecidedMost: 0.003 },
  { what: 'with polarity, sd 5', connections: EVERY.slice(0, 2), sdDeg: 5, falseMost: 10e-6, undecidedMost: 0.005 },
  { what: 'all 12, sd 5', connections: EVERY, sdDeg: 5, falseMost: 50e-6, undecidedMost: 0.02 },
  {
    what: 'all 12 and voltage to 5 %, sd 10',
    connections: EVERY,
    sdDeg: 10,
    withVoltage: true,
    falseMost: 100e-6,
    undecidedMost: 0.02,
  },
];

const NOMINAL_V = 12470;
const terminal: Terminal = { id: 't', nominalV: NOMINAL_V, connection: 'phase-neutral', path: [] };

export function oneConductorRates(trials: number): Rate[] {
  return [...CASES.flatMap((c, i) => ratesOf(c, trials, 101 + i)), unknownTime(Math.max(200, trials / 100))];
}

function ratesOf(c: Case, trials: number, seed: number): Rate[] {
  const frame = makeFrame({ connections: c.connections, unbalanceSdDeg: 0 });
  const classes = phaseClasses(frame, { connection: 'phase-neutral', path: [] });
  const dice = chance(seed);
  let wrong = 0;
  let undecided = 0;
  for (let n = 0; n < trials; n++) {
    const truth = dice.index(classes.prior);
    const angleDeg = wrap180(classes.expectedDeg[truth]! + c.sdDeg * dice.normal());
    const weights = c.withVoltage ? weightsOf(classes, truth, dice) : undefined;
    const judged = judge(classes, angleDeg, c.sdDeg, frame, weights, []);
    if (judged.verdict === 'not-proven') undecided++;
    else if (judged.phase !== classes.phase[truth]) wrong++;
  }
  return [
    { target: '1 one reading', what: `${c.what}: wrong phase`, trials, count: wrong, most: c.falseMost },
    { target: '1 one reading', what: `${c.what}: not proven`, trials, count: undecided, most: c.undecidedMost },
  ];
}

function weightsOf(classes: PhaseClasses, truth: number, dice: Chance): Float64Array | undefined {
  const expectedV = classes.connection[truth]!.startsWith('phase-phase') ? NOMINAL_V : NOMINAL_V / Math.sqrt(3);
  const voltageV = expectedV * Math.exp(0.05 * dice.normal());
  const reading: Reading = {
    kind: 'reading',
    id: 'r',
    terminal: 't',
    takenAt: '2026-05-04T10:15:30Z',
    voltageV,
    coupling: 'contact',
  };
  return voltageWeights([reading], terminal, classes.connection);
}

/** Whole records from readings whose time quality is unknown in one way or another: none may name a phase. */
function unknownTime(trials: number): Rate {
  const frame = makeFrame({ references: [{ id: 'ref' }] });
  const dice = chance(151);
  const clocks = [
    undefined,
    {},
    { source: 'unknown' as const, errorUs: 1 },
    { source: 'gnss' as const, locked: true },
    { source: 'gnss' as const, locked: false, errorUs: 1 },
    { source: 'free-running' as const, errorUs: 1 },
    { source: 'holdover' as const, errorUs: 1 },
  ];
  let named = 0;
  for (let n = 0; n < trials; n++) {
    const clock = clocks[dice.below(clocks.length)];
    const reading: Reading = {
      kind: 'reading',
      id: `r${n}`,
      terminal: 't',
      takenAt: '2026-05-04T10:15:30Z',
      angleDeg: -120 * dice.below(3) + 2 * dice.normal(),
      against: 'ref',
      ...(clock ? { clock } : {}),
    };
    if (identify([reading], frame).verdict !== 'not-proven') named++;
  }
  return { target: '1 one reading', what: 'unknown time quality: named', trials, count: named, most: 0 };
}
