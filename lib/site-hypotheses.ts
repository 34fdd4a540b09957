/** What the conductors of a site may be joined to, together: connections, and the turn of the transformers on the way. */
import { difference, wrap180 } from './angle';
import type { Frame, Reference } from './frame';
import type { Terminal } from './network';
import {
  connectionPrior,
  connectionSpacing,
  isPhaseToPhase,
  isReversed,
  pathIsKnown,
  phaseAngleDeg,
} from './phase-classes';
import type { Connection } from './records';
import { connectionAngle, pathShiftDeg, type Sequence } from './windings';

/** One way the site may be joined; arrangements `from` to `to` are possible under it. */
export interface SiteHypothesis {
  /** connection of each conductor */
  readonly connections: readonly Connection[];
  /** expectedDeg[3 * conductor + phase] */
  readonly expectedDeg: Float64Array;
  readonly prior: number;
  readonly from: number;
  readonly to: number;
}

export interface SiteHypotheses {
  readonly list: readonly SiteHypothesis[];
  readonly spacingDeg: 30 | 60 | 120;
  readonly pathKnown: boolean;
}

type Recorded = Terminal | undefined;

const known = new WeakMap<Frame, Map<string, SiteHypotheses>>();

/** `siteHypotheses`, remembered for each frame, connections, paths and sequence. */
export function siteHypothesesOf(
  frame: Frame,
  terminals: readonly Recorded[],
  reference: Reference | undefined,
  sequence: Sequence | undefined,
): SiteHypotheses {
  let key = sequence ?? '';
  for (const t of terminals) key += `|${t?.connection ?? ''} ${(t?.path ?? reference?.path)?.join(' ') ?? '-'}`;
  const ofFrame = known.get(frame) ?? new Map<string, SiteHypotheses>();
  known.set(frame, ofFrame);
  const found = ofFrame.get(key) ?? siteHypotheses(frame, terminals, reference, sequence);
  ofFrame.set(key, found);
  return found;
}

/**
 * All conductors of a site share what is not as recorded: the connections as recorded .93, all reversed .02, all of the other
 * kind .04, both .01. A reversed sequence may be crossed above or below a winding, which decides the sign of its shift.
 */
export function siteHypotheses(
  frame: Frame,
  terminals: readonly Recorded[],
  reference: Reference | undefined,
  sequence: Sequence | undefined,
): SiteHypotheses {
  const recorded = terminals.map((t) => t?.connection ?? frame.connections[0]!);
  const allowed = [...new Set([...frame.connections, ...recorded])];
  const spacingDeg = connectionSpacing(allowed);
  const paths = terminals.map((t) => t?.path ?? reference?.path);
  const pathKnown = paths.every((p) => pathIsKnown(p, spacingDeg));
  const groups = paths.map((p) => (pathKnown ? (p ?? []) : []));
  const ways = joined(
    recorded,
    allowed,
    terminals.some((t) => t?.connection !== undefined),
  );
  const list = ways.flatMap(({ connections, prior }) =>
    turns(groups, sequence).map(({ shiftDeg, share, from, to }) => ({
      connections,
      expectedDeg: expected(frame, connections, shiftDeg),
      prior: prior * share,
      from,
      to,
    })),
  );
  return { list, spacingDeg, pathKnown };
}

/** The ways of being joined: each turns or changes the connection of every conductor alike. */
function joined(recorded: readonly Connection[], allowed: readonly Connection[], isRecorded: boolean) {
  const first = recorded[0]!;
  const ways = allowed
    .map((c) => {
      const turned = isReversed(c) !== isReversed(first);
      const otherKind = isPhaseToPhase(c) !== isPhaseToPhase(first);
      return { first: c, connections: recorded.map((r) => changed(r, turned, otherKind)) };
    })
    .filter(({ connections }) => connections.every((c) => allowed.includes(c)));
  const prior = connectionPrior(
    ways.map((w) => w.first),
    isRecorded ? first : undefined,
  );
  return ways.map(({ connections }, i) => ({ connections, prior: prior[i]! }));
}

function changed(connection: Connection, turn: boolean, otherKind: boolean): Connection {
  const kind = isPhaseToPhase(connection) !== otherKind ? 'phase-phase' : 'phase-neutral';
  return isReversed(connection) !== turn ? `${kind}-reversed` : kind;
}

interface Turn {
  readonly shiftDeg: readonly number[];
  readonly share: number;
  readonly from: number;
  readonly to: number;
}

function turns(groups: readonly (readonly string[])[], sequence: Sequence | undefined): Turn[] {
  const along = (s: Sequence) => groups.map((g) => pathShiftDeg(g, s));
  const shiftDeg = along(sequence ?? 'ABC');
  const mirroredDeg = along('ACB');
  if (sequence || shiftDeg.every((d, k) => difference(d, mirroredDeg[k]!) === 0)) {
    return [{ shiftDeg, share: 1, from: 0, to: 6 }];
  }
  return [
    { shiftDeg, share: 1, from: 0, to: 3 },
    { shiftDeg, share: 0.5, from: 3, to: 6 },
    { shiftDeg: mirroredDeg, share: 0.5, from: 3, to: 6 },
  ];
}

function expected(frame: Frame, connections: readonly Connection[], shiftDeg: readonly number[]): Float64Array {
  const zeroDeg = phaseAngleDeg(frame, frame.zeroPhase);
  return Float64Array.from({ length: 3 * connections.length }, (_, i) => {
    const k = Math.floor(i / 3);
    return wrap180(connectionAngle(i % 3, connections[k]!) + shiftDeg[k]! - zeroDeg);
  });
}
