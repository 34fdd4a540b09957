/** What the readings of a visit say so far, by the same library that makes the records, or what is missing. */
import { type CommonReadings, commonReadings } from '../../../lib/common-conductor';
import type { Frame } from '../../../lib/frame';
import { identify } from '../../../lib/identify';
import { identifySite } from '../../../lib/identify-site';
import type { Network, OpenPoint, Site } from '../../../lib/network';
import { compareOpenPoint } from '../../../lib/open-point';
import { takenAtUs } from '../../../lib/reading';
import type { Comparison, Identification, Reading, Rotation } from '../../../lib/records';
import { siteRotation } from '../../../lib/site-rotation';
import type { Place, Step } from './steps';
import type { TieRule } from './tie-rule';

export interface Done {
  readonly step: Step;
  readonly reading: Reading;
}

export interface Says {
  readonly identifications: readonly Identification[];
  readonly rotations: readonly Rotation[];
  readonly comparison: Comparison | undefined;
  /** steps without an angle, or with one that was read too long before the last */
  readonly missing: readonly Step[];
  /** instants of the first and the last reading that count, RFC 3339; undefined before anything was read */
  readonly span: readonly [first: string, last: string] | undefined;
}

interface Conductor {
  readonly terminal: string;
  readonly readings: readonly Reading[];
}

/**
 * @param done in any order; at most one for each step
 * @param rule what the tie check asks
 */
export function saysSoFar(
  frame: Frame,
  network: Network,
  place: Place,
  steps: readonly Step[],
  done: readonly Done[],
  rule: TieRule,
): Says {
  const withAngle = done.filter(({ reading }) => reading.angleDeg !== undefined);
  const read = ofOneVisit(withAngle, place.kind === 'open-point' ? rule.windowS : SITE_VISIT_S);
  const has = new Set(read.map(({ step }) => step.key));
  const own = steps.flatMap((s) => (isProof(s) ? [] : (read.find(({ step }) => step.key === s.key) ?? [])));
  const conductors = own.map(({ step, reading }) => ({ terminal: step.terminal, readings: [reading] }));
  const point = place.kind === 'open-point' ? network.openPoints.get(place.id) : undefined;
  return {
    identifications: identified(frame, network, conductors),
    rotations: rotations(frame, network, conductors),
    comparison: point ? compared(frame, network, point, conductors, read, rule) : undefined,
    missing: steps.filter((s) => !has.has(s.key)),
    span: read.length === 0 ? undefined : [read[0]!.reading.takenAt, read.at(-1)!.reading.takenAt],
  };
}

/** Conductors of a site are held against each other only when they were read within this time, seconds. */
const SITE_VISIT_S = 900;

/**
 * What was read shortly before the last reading, oldest first: a load that has changed since turns angles. The common
 * conductor may be read that much earlier or later than the sides.
 */
function ofOneVisit(read: readonly Done[], windowS: number): readonly Done[] {
  const inTime = [...read].sort((a, b) => takenAtUs(a.reading) - takenAtUs(b.reading));
  const own = shortlyBeforeLast(
    inTime.filter(({ step }) => !isProof(step)),
    windowS,
  );
  if (own.length === 0) return shortlyBeforeLast(inTime, windowS);
  const [firstUs, lastUs] = [takenAtUs(own[0]!.reading), takenAtUs(own.at(-1)!.reading)];
  const isAround = ({ reading }: Done) =>
    takenAtUs(reading) >= firstUs - windowS * 1e6 && takenAtUs(reading) <= lastUs + windowS * 1e6;
  return inTime.filter((d) => (isProof(d.step) ? isAround(d) : own.includes(d)));
}

const shortlyBeforeLast = (inTime: readonly Done[], windowS: number): readonly Done[] =>
  inTime.filter(({ reading }) => takenAtUs(inTime.at(-1)!.reading) - takenAtUs(reading) <= windowS * 1e6);

const isProof = ({ part }: Step): boolean => part === 'before' || part === 'after';

/** Conductors of one site together, when all of it was read; the rest one by one. */
function identified(frame: Frame, network: Network, conductors: readonly Conductor[]): readonly Identification[] {
  const whole = wholeSites(network, conductors).filter(({ terminals }) => terminals.length <= 3);
  const together = whole.flatMap((site) => {
    const members = inOrder(site.terminals, conductors);
    return identifySite(members, frame, { terminals: network.terminals, site: site.id }).identifications;
  });
  const told = new Map(together.map((found) => [found.terminal, found]));
  return conductors.map(
    ({ terminal, readings }) =>
      told.get(terminal) ??
      identify(readings, frame, {
        terminal: network.terminals.get(terminal),
        site: network.siteOf.get(terminal)?.id,
      }),
  );
}

function rotations(frame: Frame, network: Network, conductors: readonly Conductor[]): readonly Rotation[] {
  return wholeSites(network, conductors)
    .filter(({ terminals }) => terminals.length === 3)
    .map((site) =>
      siteRotation({ site: site.id, viewing: site.viewing }, inOrder(site.terminals, conductors), frame, {
        terminals: network.terminals,
      }),
    );
}

/** Sites of two or more terminals, every one of them read. */
function wholeSites(network: Network, conductors: readonly Conductor[]): readonly Site[] {
  const read = new Set(conductors.map((c) => c.terminal));
  const sites = new Set(conductors.flatMap((c) => network.siteOf.get(c.terminal) ?? []));
  return [...sites].filter(({ terminals }) => terminals.length > 1 && terminals.every((t) => read.has(t)));
}

const inOrder = (terminals: readonly string[], conductors: readonly Conductor[]): readonly Conductor[] =>
  terminals.flatMap((t) => conductors.find((c) => c.terminal === t) ?? []);

function compared(
  frame: Frame,
  network: Network,
  point: OpenPoint,
  conductors: readonly Conductor[],
  read: readonly Done[],
  rule: TieRule,
): Comparison | undefined {
  const [left, right] = [inOrder(point.left, conductors), inOrder(point.right, conductors)];
  if (left.length < point.left.length || right.length < point.right.length) return undefined;
  const proof = proofIn(read, left, right);
  return compareOpenPoint(left, right, {
    openPoint: point.id,
    frame,
    terminals: network.terminals,
    toleranceDeg: point.toleranceDeg ?? rule.toleranceDeg,
    windowS: rule.windowS,
    requireProof: rule.requireProof,
    ...(proof ? { proof } : {}),
  });
}

function proofIn(
  read: readonly Done[],
  left: readonly Conductor[],
  right: readonly Conductor[],
): CommonReadings | undefined {
  const common = read
    .filter(({ step }) => isProof(step))
    .map(({ reading }) => reading)
    .sort((a, b) => takenAtUs(a) - takenAtUs(b));
  if (common.length === 0) return undefined;
  const of = (side: readonly Conductor[]) => side.flatMap((c) => c.readings);
  return commonReadings(common, of(left), of(right));
}
