/** The phasing frame: what an angle means here, how sure a decision must be, and what stands between reference and terminal. */
import { canonicalJson, digest } from './derived-id';
import { pathProblems } from './network';
import type { Connection, FrameStamp } from './records';

/** A station (or a proven conductor) whose angle others are read against. */
export interface Reference {
  readonly id: string;
  /** terminal whose readings are this reference's stream, for readings taken against UTC */
  readonly terminal?: string;
  /** label of the phase it stands on, or null when unknown */
  readonly phase: string;
  readonly connection: Connection;
  /**
   * Degrees to subtract from (reading minus reference) on top of what `phase` and `connection` say, in the sense of the
   * instruments: 0 for a station that stands exactly where it is said to. From calibration.
   */
  readonly offsetDeg: number;
  /** standard uncertainty of the offset, degrees */
  readonly offsetSdDeg: number;
  /**
   * Vector groups passed going from the reference's level towards the terminals, when a terminal does not say otherwise.
   * Empty: none is passed. 'unknown' in it: one is passed whose group is not known. Left out: not stated.
   */
  readonly path?: readonly string[];
}

export interface Frame {
  readonly id: string;
  /** derived from the content */
  readonly revision: string;
  /** labels of the phases in the order in which they reach their crest, e.g. A, B, C */
  readonly phases: readonly [string, string, string];
  /** the phase that reads zero */
  readonly zeroPhase: string;
  /** 'lead': a positive angle leads. 'lag': instruments here show lag as positive */
  readonly sense: 'lead' | 'lag';
  readonly nominalHz: number;
  /** connections that may occur; fewer classes, fewer doubts */
  readonly connections: readonly Connection[];
  /** default standard uncertainty of a reading that does not state its own, degrees */
  readonly readingSdDeg: number;
  /** allowance for the angle that load flow puts between reference and terminal, degrees, common to a site */
  readonly driftSdDeg: number;
  /** allowance for the angle that unbalanced load puts between the phases of one site, degrees, per conductor */
  readonly unbalanceSdDeg: number;
  /** probability that a reading is simply wrong; must stay well below 1 - accept.identified, or sound readings are refused */
  readonly grossErrorRate: number;
  readonly accept: { readonly identified: number; readonly confirmed: number };
  /** clock standard errors over this give no absolute phase, microseconds */
  readonly clockBudgetUs: number;
  /** how old a reference reading may be, seconds, before it no longer counts as the same instant */
  readonly referenceMaxAgeS: number;
  /** longest gap between two reference readings that is interpolated, seconds */
  readonly referenceMaxGapS: number;
  readonly references: readonly Reference[];
}

export type FrameSettings = Partial<Omit<Frame, 'revision' | 'references'>> & {
  readonly references?: readonly (Pick<Reference, 'id'> & Partial<Reference>)[];
};

const DEFAULTS: Omit<Frame, 'revision'> = {
  id: 'default',
  phases: ['A', 'B', 'C'],
  zeroPhase: 'A',
  sense: 'lead',
  nominalHz: 60,
  connections: ['phase-neutral'],
  readingSdDeg: 2,
  driftSdDeg: 3,
  unbalanceSdDeg: 1.5,
  grossErrorRate: 0.0005,
  accept: { identified: 0.99, confirmed: 0.999 },
  clockBudgetUs: 100,
  referenceMaxAgeS: 2,
  referenceMaxGapS: 5,
  references: [],
};

/**
 * A frozen frame from the settings a person gave, defaults for the rest.
 * @throws RangeError naming the setting and what would be right
 */
export function makeFrame(settings: FrameSettings = {}): Frame {
  const references = (settings.references ?? []).map((r) =>
    makeReference(r, settings.zeroPhase ?? settings.phases?.[0] ?? 'A'),
  );
  const content = {
    ...DEFAULTS,
    ...settings,
    zeroPhase: settings.zeroPhase ?? settings.phases?.[0] ?? 'A',
    references,
  };
  checkFrame(content);
  const revision = digest(canonicalJson(content)).slice(0, 12);
  return Object.freeze({ ...content, revision, references: Object.freeze(references) });
}

function makeReference(r: Pick<Reference, 'id'> & Partial<Reference>, zeroPhase: string): Reference {
  return Object.freeze({ phase: zeroPhase, connection: 'phase-neutral' as const, offsetDeg: 0, offsetSdDeg: 1, ...r });
}

function checkFrame(f: Omit<Frame, 'revision'>): void {
  const demand = (ok: boolean, text: string) => {
    if (!ok) throw new RangeError(`frame ${f.id}: ${text}`);
  };
  demand(new Set(f.phases).size === 3, `phases must be three different labels, got ${JSON.stringify(f.phases)}`);
  demand(f.phases.includes(f.zeroPhase), `zeroPhase must be one of ${f.phases.join(', ')}, got ${f.zeroPhase}`);
  demand(f.sense === 'lead' || f.sense === 'lag', `sense must be lead or lag, got ${f.sense}`);
  demand(f.nominalHz >= 10 && f.nominalHz <= 500, `nominalHz must be 10 to 500, got ${f.nominalHz}`);
  demand(f.connections.length > 0, 'connections must name at least one connection');
  demand(
    f.readingSdDeg > 0 && f.driftSdDeg >= 0 && f.unbalanceSdDeg >= 0,
    'readingSdDeg must be above 0, driftSdDeg and unbalanceSdDeg not below it',
  );
  demand(f.grossErrorRate >= 0 && f.grossErrorRate < 0.1, `grossErrorRate must be 0 to 0.1, got ${f.grossErrorRate}`);
  demand(
    f.accept.identified > 0.5 && f.accept.identified <= f.accept.confirmed && f.accept.confirmed < 1,
    `accept must satisfy 0.5 < identified <= confirmed < 1, got ${JSON.stringify(f.accept)}`,
  );
  for (const r of f.references) {
    demand(
      f.phases.includes(r.phase),
      `reference ${r.id}: phase must be one of ${f.phases.join(', ')}, got ${r.phase}`,
    );
    demand(
      Number.isFinite(r.offsetDeg) && r.offsetSdDeg >= 0,
      `reference ${r.id}: offsetDeg must be a number and offsetSdDeg not negative`,
    );
    const [problem] = pathProblems(r.path, `reference ${r.id}`);
    demand(problem === undefined, problem ?? '');
  }
}

/** The stamp that findings made in this frame carry. */
export const stampOf = (frame: Frame): FrameStamp => ({ id: frame.id, revision: frame.revision });
