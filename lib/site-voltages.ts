/** The three voltages of a site, when they may be used, and the unbalance they show. */
import { fitness } from './fitness';
import type { Frame } from './frame';
import type { Terminal } from './network';
import { isPhaseToPhase } from './phase-classes';
import { minus, type Phasor } from './phasor';
import type { Reading, Rotation } from './records';
import { type ConductorReadings, readingOf } from './sample';
import {
  deratingFactor,
  lineVoltageUnbalance,
  negativeSequenceUnbalance,
  negativeSequenceUnbalanceFromLines,
} from './unbalance';
import type { VisitContext } from './visit-angles';

export interface SiteVoltages {
  /** phase: each to neutral or earth. line: each between two conductors */
  readonly kind: 'phase' | 'line';
  /** in the order of the conductors, volts */
  readonly volts: readonly [number, number, number];
}

/** The last usable voltage of each of three conductors; undefined unless all have one, formed in the same way at one level. */
export function siteVoltages(
  conductors: readonly ConductorReadings[],
  frame: Frame,
  context: VisitContext,
): SiteVoltages | undefined {
  const terminals = conductors.map((c) => context.terminals?.get(c.terminal));
  if (new Set(terminals.map((t) => t?.nominalV)).size !== 1) return undefined;
  const measured = conductors.map((c, k) => lastVoltage(c.readings.map(readingOf), frame, context, terminals[k]));
  const kinds = new Set(measured.map((r, k) => (r ? kindOf(r, terminals[k]) : undefined)));
  const [kind] = kinds;
  if (kinds.size !== 1 || kind === undefined) return undefined;
  return { kind, volts: measured.map((r) => r!.voltageV!) as [number, number, number] };
}

function lastVoltage(
  readings: readonly Reading[],
  frame: Frame,
  context: VisitContext,
  terminal: Terminal | undefined,
): Reading | undefined {
  return readings.findLast(
    (r) => r.voltageV !== undefined && fitness(r, { ...context, frame, terminal }).uses.magnitude,
  );
}

function kindOf(reading: Reading, terminal: Terminal | undefined): SiteVoltages['kind'] | undefined {
  if (reading.voltageIs !== undefined) return reading.voltageIs === 'phase-to-phase' ? 'line' : 'phase';
  if (terminal?.connection === undefined) return undefined;
  return isPhaseToPhase(terminal.connection) ? 'line' : 'phase';
}

/**
 * V2/V1 and the line-voltage unbalance, percent, and the derating that goes with the latter; null when there is no positive sequence
 * or three line voltages cannot close a triangle.
 * @param phasors phase voltages in the order in which they reach their crest
 */
export function siteUnbalance(
  voltages: SiteVoltages,
  phasors: readonly [Phasor, Phasor, Phasor],
): Rotation['unbalance'] {
  const [a, b, c] = phasors;
  const lines: [number, number, number] =
    voltages.kind === 'line'
      ? [...voltages.volts]
      : [minus(a, b).magnitude, minus(b, c).magnitude, minus(c, a).magnitude];
  const negativeSequencePct =
    voltages.kind === 'line' ? negativeSequenceUnbalanceFromLines(...lines) : negativeSequenceUnbalance(a, b, c);
  const lineVoltagePct = lineVoltageUnbalance(...lines);
  if (!Number.isFinite(negativeSequencePct) || !Number.isFinite(lineVoltagePct)) return null;
  return { negativeSequencePct, lineVoltagePct, deratingFactor: deratingFactor(lineVoltagePct) };
}
