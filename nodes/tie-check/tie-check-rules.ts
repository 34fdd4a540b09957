/** Which readings are held against each other across an open point. */
import { type Align, alignSet, withAlignmentReasons } from '../../lib/align-set';
import { type CommonReadings, commonReadingsOf } from '../../lib/common-conductor';
import type { Frame } from '../../lib/frame';
import type { Network, OpenPoint } from '../../lib/network';
import { compareOpenPoint } from '../../lib/open-point';
import type { CompareOptions } from '../../lib/open-point-options';
import type { Reading } from '../../lib/records';
import type { Sample } from '../../lib/sample';
import type { Group, Rules } from '../kit/finding-flow';

export interface TieGroup extends Group {
  readonly point: OpenPoint;
}

export interface TieCheckSettings {
  readonly windowS: number;
  readonly combineS: number;
  readonly toleranceDeg: number;
  readonly requireProof: NonNullable<CompareOptions['requireProof']>;
}

export function tieCheckRules(frame: Frame, network: Network, settings: TieCheckSettings): Rules<TieGroup> {
  const { windowS, combineS, toleranceDeg, requireProof } = settings;
  const groups = new Map<string, TieGroup[]>();
  for (const point of network.openPoints.values()) {
    const beside = point.proofTerminal === undefined ? [] : [point.proofTerminal];
    const group = { id: point.id, point, terminals: [...point.left, ...point.right], beside, windowS, combineS };
    for (const t of [...group.terminals, ...beside]) groups.set(t, [...(groups.get(t) ?? []), group]);
  }
  return {
    saysAgain: false,
    groupsOf: (terminal) => groups.get(terminal) ?? [],
    restsOn(group, set, _reading, window) {
      if (!set.complete) return [];
      const proof = commonReadingsOf(group.point, set, window, windowS);
      const main = set.conductors.flatMap((c) => c.readings);
      return proof ? [...main, ...proof.before, ...proof.after] : main;
    },
    conclude(group, set, _reading, window, align) {
      const { conductors, unaligned } = alignSet(set.conductors, frame, align, true);
      const pairs = group.point.left.length;
      const proof = commonReadingsOf(group.point, set, window, windowS);
      const found = compareOpenPoint(conductors.slice(0, pairs), conductors.slice(pairs), {
        openPoint: group.id,
        frame,
        terminals: network.terminals,
        toleranceDeg: group.point.toleranceDeg ?? toleranceDeg,
        windowS,
        requireProof,
        ...(proof ? { proof: alignedProof(group, proof, frame, align) } : {}),
      });
      const reasons = [...withAlignmentReasons(found.reasons, unaligned)];
      return [Object.freeze({ ...found, reasons })];
    },
  };
}

function alignedProof(group: TieGroup, proof: CommonReadings, frame: Frame, align: Align) {
  const pair = (readings: readonly [Reading, Reading]): readonly [Sample, Sample] => {
    const [aligned] = alignSet([{ terminal: group.point.proofTerminal!, readings }], frame, align, true).conductors;
    return aligned!.readings as readonly [Sample, Sample] & readonly Sample[];
  };
  return { before: pair(proof.before), after: pair(proof.after) };
}
