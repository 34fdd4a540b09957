/** Everything known of one feeder, kept up to date finding by finding, and traced when asked. */
import { compareInstants, formatInstant, parseInstant } from '../instant';
import type { Comparison, Correction, Finding, FrameStamp, Identification, Rotation, Trace } from '../records';
import { type Decision, decideCorrection } from './decide';
import { evidenceFrom, type FromRecords, tieFrom } from './from-records';
import { rotationEvidence } from './from-rotations';
import { type MeterBatch, type MeterEvidence, meterEvidence } from './meter-evidence';
import type { Feeder } from './model';
import type { PairFactor } from './pair-factor';
import { type Findings, readingsOnce } from './reading-once';
import { standing } from './standing';
import { type FeederTrace, traceFeeder } from './trace';
import { traceRecord } from './trace-record';

export class CaseFile {
  private readonly identifications = new Map<string, Identification>();
  private readonly rotations = new Map<string, Rotation>();
  private readonly comparisons = new Map<string, Comparison>();
  private readonly decisions = new Map<string, Correction>();
  private meters: { readonly at: string; readonly found: MeterEvidence } | undefined;

  constructor(
    readonly feeder: Feeder,
    private readonly options: FromRecords & { readonly frame?: FrameStamp } = {},
  ) {}

  /** True when it is about this feeder and at least as new as what was known about the same thing. */
  take(finding: Finding): boolean {
    const known = (terminal: string) => this.feeder.terminals.has(terminal);
    switch (finding.kind) {
      case 'identification':
        return known(finding.terminal) && newer(this.identifications, finding.terminal, finding);
      case 'rotation':
        return finding.terminals.every(known) && newer(this.rotations, [...finding.terminals].sort().join(), finding);
      case 'comparison': {
        const sides = finding.belongs.flatMap((b) => [b.left, b.right]);
        const before = this.comparisons.has(finding.openPoint);
        return (
          (before || (sides.length > 0 && sides.every(known))) && newer(this.comparisons, finding.openPoint, finding)
        );
      }
      case 'correction':
        return finding.feeder === this.feeder.id && newer(this.decisions, finding.section, finding);
      default:
        return false;
    }
  }

  /**
   * Voltages of meters take the place of those taken before. Tells which meters say nothing, and why.
   * @throws RangeError when a phase of the feeder has no series
   */
  takeMeters(batch: MeterBatch): MeterEvidence {
    const found = meterEvidence(this.feeder, batch, this.options.rates);
    this.meters = { at: formatInstant(parseInstant(batch.until)), found };
    return found;
  }

  get isEmpty(): boolean {
    const metered = this.meters?.found.evidence.length ?? 0;
    return this.identifications.size + this.rotations.size + this.comparisons.size + metered === 0;
  }

  run(): FeederTrace {
    const { feeder, options } = this;
    const { identifications, rotations } = this.once();
    const turning = rotations.flatMap((r) => rotationEvidence(feeder, r, options.rates) ?? []);
    return traceFeeder(
      feeder,
      [...evidenceFrom(feeder, identifications, options), ...turning, ...(this.meters?.found.evidence ?? [])],
      this.ties().map((t) => t.factor),
      undefined,
      standing(feeder, this.decisions.values()),
    );
  }

  /** The record of a run: undefined while nothing is known, since a trace speaks of the time of its evidence. */
  record(run: FeederTrace = this.run()): Trace | undefined {
    const parts = [...this.identifications.values(), ...this.rotations.values(), ...this.comparisons.values()];
    const at = [...(this.meters ? [this.meters] : []), ...parts, ...this.decisions.values()]
      .map((f) => f.at)
      .sort(compareInstants)
      .at(-1);
    if (at === undefined || this.isEmpty) return undefined;
    const { frame } = this.options;
    const ties = this.ties().map((t) => t.id);
    return traceRecord(run, { at, ties, ...(frame ? { frame } : {}) });
  }

  /**
   * A person's decision about a correction that this run tells of.
   * @returns the record, or a sentence that says what is not offered
   */
  decide(run: FeederTrace, decision: Decision, at: string): Correction | string {
    const record = this.record(run);
    return record
      ? decideCorrection(record, decision, at)
      : `nothing is known of feeder ${this.feeder.id} yet; expected a finding about it first`;
  }

  private once(): Findings {
    return readingsOnce(this.feeder, {
      identifications: [...this.identifications.values()],
      rotations: [...this.rotations.values()],
      comparisons: [...this.comparisons.values()],
    });
  }

  private ties(): { id: string; factor: PairFactor }[] {
    return this.once().comparisons.map((c) => ({ id: c.id, factor: tieFrom(this.feeder, c)! }));
  }
}

function newer<T extends Finding>(held: Map<string, T>, about: string, finding: T): boolean {
  const before = held.get(about);
  if (before && (compareInstants(before.at, finding.at) > 0 || before.id === finding.id)) return false;
  held.set(about, finding);
  return true;
}
