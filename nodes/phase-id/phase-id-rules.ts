/** Which readings are identified together, and what of. */
import { alignSet, withAlignmentReasons } from '../../lib/align-set';
import type { Frame } from '../../lib/frame';
import { identify } from '../../lib/identify';
import { identifySite } from '../../lib/identify-site';
import type { Network } from '../../lib/network';
import type { RawConductor, ReadingSet } from '../../lib/reading-sets';
import type { Identification, Reading } from '../../lib/records';
import type { Group, Rules } from '../kit/finding-flow';

export interface PhaseIdSettings {
  readonly combineS: number;
  readonly siteWindowS: number;
}

export function phaseIdRules(frame: Frame, network: Network | undefined, settings: PhaseIdSettings): Rules<Group> {
  const { combineS } = settings;
  const terminals = network?.terminals;
  const groupOf = (terminal: string): Group => {
    const site = network?.siteOf.get(terminal);
    if (!site || site.terminals.length < 2 || site.terminals.length > 3) {
      return { id: terminal, terminals: [terminal], windowS: combineS, combineS };
    }
    return { id: site.id, terminals: site.terminals, windowS: settings.siteWindowS, combineS };
  };
  const groups = new Map<string, readonly Group[]>();
  return {
    saysAgain: true,
    groupsOf(terminal) {
      const known = groups.get(terminal);
      if (known) return known;
      const made = [groupOf(terminal)];
      if (network) groups.set(terminal, made);
      return made;
    },
    restsOn: (_group, set, reading) => judged(set, reading).flatMap((c) => c.readings),
    conclude(_group, set, reading, _window, align) {
      const site = network?.siteOf.get(reading.terminal)?.id;
      const { conductors, unaligned } = alignSet(judged(set, reading), frame, align, false);
      const found =
        conductors.length > 1
          ? identifySite(conductors, frame, { terminals, site }).identifications
          : [identify(conductors[0]!.readings, frame, { terminal: terminals?.get(reading.terminal), site })];
      return found.map((f) => explained(f, unaligned));
    },
  };
}

/** The whole site when every terminal has an angle, else the terminal of the reading alone. */
function judged(set: ReadingSet, { terminal }: Reading): readonly RawConductor[] {
  const chosen = set.complete ? set.conductors : set.conductors.filter((c) => c.terminal === terminal);
  return chosen.map(angles);
}

/** Voltages read by themselves say nothing of the phase; where there is no angle at all, they are told so. */
function angles(conductor: RawConductor): RawConductor {
  const readings = conductor.readings.filter((r) => r.angleDeg !== undefined);
  const allOrNone = readings.length === 0 || readings.length === conductor.readings.length;
  return allOrNone ? conductor : { ...conductor, readings };
}

function explained(finding: Identification, unaligned: Parameters<typeof withAlignmentReasons>[1]): Identification {
  const reasons = withAlignmentReasons(finding.reasons, unaligned);
  return reasons === finding.reasons ? finding : Object.freeze({ ...finding, reasons: [...reasons] });
}
