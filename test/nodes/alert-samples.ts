/** Findings that lead to alerts. */
import { derivedId } from '../../lib/derived-id';
import { formatInstant } from '../../lib/instant';
import type { Comparison, Rejection } from '../../lib/records';

const T0 = 1.7e15;

export function comparisonAt(
  atS: number,
  openPoint: string,
  verdict: Comparison['verdict'],
  more: Partial<Comparison> = {},
): Comparison {
  const isMismatch = verdict === 'not-the-same-phase';
  const said = {
    kind: 'comparison' as const,
    at: formatInstant(Math.round(T0 + atS * 1e6)),
    from: [`rd-${openPoint}-${atS}`],
    openPoint,
    verdict,
    landing: isMismatch ? ('rolled' as const) : null,
    belongs: isMismatch ? [{ left: 'L1', right: 'R2', landedOn: 'R1' }] : [],
    pairs: [],
    probability: 1,
    standingAngleDeg: null,
    standingAngleUpperDeg: null,
    toleranceDeg: 10,
    proof: 'attested-time' as const,
    reasons: verdict === 'not-proven' ? [{ code: 'stale', why: 'the readings are too far apart' }] : [],
    ...more,
  };
  return { ...said, id: derivedId('comparison', said) };
}

/** A reading of an instrument whose self-test failed, turned aside. */
export function rejected(atS: number, instrument: string, terminal = `S/${instrument}`): Rejection {
  const excerpt = JSON.stringify({ terminal, instrument: { id: instrument } });
  const said = {
    kind: 'rejection' as const,
    at: formatInstant(T0 + atS * 1e6),
    from: [`rd-${instrument}-${atS}`],
    source: 'readings',
    terminal,
    stage: 'screen' as const,
    problems: [
      {
        at: '/instrument/selfTest',
        code: 'self-test-failed',
        what: `instrument ${instrument} failed its self-test`,
        expected: 'a pass',
      },
    ],
    bytes: excerpt.length,
    excerpt,
  };
  return { ...said, id: derivedId('rejection', said) };
}
