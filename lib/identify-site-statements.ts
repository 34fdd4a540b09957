/** What the judgement of a site says about each of its conductors. */
import type { ConductorAngle } from './conductor-angle';
import type { Frame } from './frame';
import { identificationRecord, restsOn } from './identification-record';
import type { IdentifyContext } from './identify';
import { CONNECTION_UNPROVEN } from './identify-reasons';
import type { SiteJudgement } from './identify-site-judge';
import type { Terminal } from './network';
import type { Candidate, Connection, Identification } from './records';
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
  const doubtful = named && !judgement.connectionProven;
  const rests = restsOn(members.flatMap((m) => m.readings.map(readingOf)));
  const reasons = doubtful ? [...judgement.reasons, CONNECTION_UNPROVEN] : judgement.reasons;
  return members.map(({ terminal }, k) => {
    const phase = judgement.arrangement[k]!;
    const expectedDeg = judgement.hypothesis.expectedDeg[3 * k + phase]!;
    const candidates = candidatesOf(judgement, k, frame);
    const label = frame.phases[phase]!;
    const recordedPhase = terminals[k]?.recordedPhase;
    const statement = {
      verdict: judgement.verdict,
      phase: named ? label : null,
      connection: judgement.connectionProven ? judgement.hypothesis.connections[k]! : null,
      slot: slotOf(named ? expectedDeg : conductors[k]!.angleDeg),
      probability: named ? ofPhase(candidates, label) : Math.max(...candidates.map((c) => c.probability)),
      candidates,
      conductor: conductors[k],
      expectedDeg: judgement.pathKnown ? expectedDeg : null,
      sdDeg: judgement.sdDeg[k]!,
      reasons,
    };
    return identificationRecord({ terminal, site: context.site, recordedPhase, rests }, statement, frame);
  });
}

const ofPhase = (candidates: readonly Candidate[], phase: string): number =>
  Math.min(
    1,
    candidates.reduce((sum, c) => sum + (c.phase === phase ? c.probability : 0), 0),
  );

/** Phase and connection of one conductor, the arrangements of the others summed out; of an unknown path nothing but the prior. */
function candidatesOf(judgement: SiteJudgement, k: number, frame: Frame): Candidate[] {
  const found: Mutable[] = [];
  for (let h = 0; h < judgement.hypotheses.length; h++) {
    const { connections, expectedDeg, prior } = judgement.hypotheses[h]!;
    const connection = connections[k]!;
    for (let a = 0; a < ARRANGEMENTS.length; a++) {
      const index = ARRANGEMENTS[a]![k]!;
      const probability = judgement.pathKnown ? judgement.posterior[h]![a]! : prior / 6;
      add(found, frame.phases[index]!, connection, slotOf(expectedDeg[3 * k + index]!), probability);
    }
  }
  return found;
}

type Mutable = { -readonly [K in keyof Candidate]: Candidate[K] };

function add(found: Mutable[], phase: string, connection: Connection, slot: number, probability: number): void {
  const known = found.find((c) => c.phase === phase && c.slot === slot && c.connection === connection);
  if (known) known.probability = Math.min(1, known.probability + probability);
  else found.push({ phase, connection, slot, probability: Math.min(1, probability) });
}
