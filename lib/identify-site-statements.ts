/** What the judgement of a site says about each of its conductors. */
import type { ConductorAngle } from './conductor-angle';
import type { Frame } from './frame';
import { identificationRecord } from './identification-record';
import type { IdentifyContext } from './identify';
import { CONNECTION_UNPROVEN } from './identify-reasons';
import type { SiteJudgement } from './identify-site-judge';
import type { Terminal } from './network';
import type { Candidate, Identification } from './records';
import { type ConductorReadings, readingOf } from './sample';
import { ARRANGEMENTS } from './site-score';
import { slotOf } from './windings';

/** One record a conductor; each rests on all readings of the site, since they were judged together. */
export function siteStatements(
  members: readonly ConductorReadings[],
  conductors: readonly ConductorAngle[],
  terminals: readonly (Terminal | undefined)[],
  judgement: SiteJudgement,
  frame: Frame,
  context: Omit<IdentifyContext, 'terminal'>,
): Identification[] {
  const named = judgement.verdict !== 'not-proven';
  const readings = members.flatMap((m) => m.readings.map(readingOf));
  const doubts = named && !judgement.connectionProven ? [CONNECTION_UNPROVEN] : [];
  return members.map(({ terminal }, k) => {
    const phase = judgement.arrangement[k]!;
    const expectedDeg = judgement.hypothesis.expectedDeg[3 * k + phase]!;
    const candidates = candidatesOf(judgement, k, frame);
    const label = frame.phases[phase]!;
    return identificationRecord(
      {
        terminal,
        site: context.site,
        recordedPhase: terminals[k]?.recordedPhase,
        readings,
        verdict: judgement.verdict,
        phase: named ? label : null,
        connection: judgement.connectionProven ? judgement.hypothesis.connections[k]! : null,
        slot: slotOf(named ? expectedDeg : conductors[k]!.angleDeg),
        probability: named ? ofPhase(candidates, label) : Math.max(...candidates.map((c) => c.probability)),
        candidates,
        conductor: conductors[k],
        expectedDeg: judgement.pathKnown ? expectedDeg : null,
        sdDeg: judgement.sdDeg[k]!,
        reasons: [...judgement.reasons, ...doubts],
      },
      frame,
    );
  });
}

const ofPhase = (candidates: readonly Candidate[], phase: string): number =>
  Math.min(
    1,
    candidates.reduce((sum, c) => sum + (c.phase === phase ? c.probability : 0), 0),
  );

/** Phase and connection of one conductor, the arrangements of the others summed out; of an unknown path nothing but the prior. */
function candidatesOf(judgement: SiteJudgement, k: number, frame: Frame): Candidate[] {
  const found = new Map<string, Candidate>();
  judgement.hypotheses.forEach((hypothesis, h) => {
    const connection = hypothesis.connections[k]!;
    ARRANGEMENTS.forEach((arrangement, a) => {
      const phase = frame.phases[arrangement[k]!]!;
      const slot = slotOf(hypothesis.expectedDeg[3 * k + arrangement[k]!]!);
      const key = `${phase} ${connection} ${slot}`;
      const probability = judgement.pathKnown ? judgement.posterior[h]![a]! : hypothesis.prior / 6;
      const before = found.get(key)?.probability ?? 0;
      found.set(key, { phase, connection, slot, probability: Math.min(1, before + probability) });
    });
  });
  return [...found.values()];
}
