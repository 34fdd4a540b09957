import { expect } from 'chai';
import fc from 'fast-check';
import {
  calibrateReference,
  identify,
  type KnownConductor,
  makeFrame,
  type Reference,
  separation,
  voteOffset,
  votesNeeded,
} from '../../lib';
import { read } from './readings';

const reference: Reference = { id: 'ref', phase: 'A', connection: 'phase-neutral', offsetDeg: 0, offsetSdDeg: 1 };
const frame = makeFrame({ references: [reference] });
const PHASE_DEG = { A: 0, B: -120, C: 120 } as const;
type Label = keyof typeof PHASE_DEG;

/** Conductors whose true phases are `phases`, read with an offset; the record says `recorded`. */
function known(offset: number, phases: string, recorded = phases): KnownConductor[] {
  return [...phases].map((p, k) => ({
    terminal: `t${k}`,
    site: `s${k % 2}`,
    sample: read(`t${k}`, PHASE_DEG[p as Label] + offset + [0, 1, -1, 2, -2, 0][k]!, { atS: k }),
    phase: recorded[k]!,
  }));
}

describe('calibrate a reference', () => {
  it('finds the offset from six conductors over two sites', () => {
    const c = calibrateReference(known(47, 'ABCABC'), frame, reference);
    expect(c.calibrated && c.offsetDeg).to.be.closeTo(47, 1e-9);
    expect(c).to.include({ calibrated: true });
    expect(c.reasons).to.deep.equal([]);
    if (c.calibrated) {
      // own sqrt(2^2 + 1.5^2)/sqrt(6), load flow 3/sqrt(2)
      expect(c.offsetSdDeg).to.be.closeTo(Math.hypot(2.5 / Math.sqrt(6), 3 / Math.SQRT2), 1e-9);
      expect(c.supporters.length).to.equal(6);
    }
  });

  it('outvotes a wrong record and names it', () => {
    const c = calibrateReference(known(47, 'ABCABC', 'ABCABA'), frame, reference);
    expect(c).to.include({ calibrated: true });
    expect(c.dissenters).to.deep.equal(['t5']);
  });

  it('refuses when two of six records are wrong: one more than a majority is needed from five on', () => {
    const c = calibrateReference(known(47, 'ABCABC', 'ABCACA'), frame, reference);
    expect(c.calibrated).to.equal(false);
    expect(c.reasons[0]?.code).to.equal('offsets-disagree');
    expect([1, 2, 3, 4, 5, 6, 7, 8].map(votesNeeded)).to.deep.equal([1, 2, 2, 3, 4, 5, 5, 6]);
  });

  it('refuses fewer than three, and says when it rests on little', () => {
    expect(calibrateReference(known(0, 'AB'), frame, reference)).to.include({ calibrated: false });
    const thin = calibrateReference(known(0, 'ABC'), frame, reference);
    expect(thin).to.include({ calibrated: true });
    expect(thin.reasons.map((r) => r.code)).to.deep.equal(['thinly-supported']);
  });

  it('does not count readings of unknown time, or against something else', () => {
    const bad = known(0, 'ABC').map((k, i) =>
      i < 2 ? { ...k, sample: read(k.terminal, 0, i ? { clock: undefined } : { against: 'x' }) } : k,
    );
    const c = calibrateReference(bad, frame, reference);
    expect(c.calibrated).to.equal(false);
    expect(c.reasons.map((r) => r.code)).to.deep.equal([
      'known-reading-unfit',
      'known-reading-unfit',
      'too-few-conductors',
    ]);
  });

  it('goes round: with the offset found, the known conductors identify as what they are, in any frame', () => {
    const settings = {
      sense: fc.constantFrom('lead' as const, 'lag' as const),
      zeroPhase: fc.constantFrom('A', 'B', 'C'),
      phase: fc.constantFrom('A', 'B', 'C'),
      connection: fc.constantFrom('phase-neutral' as const, 'phase-phase' as const, 'phase-neutral-reversed' as const),
      path: fc.constantFrom([], ['Dyn1'], ['Dyn11', 'YNd5']),
      offset: fc.double({ min: -180, max: 180, noNaN: true }),
    };
    fc.assert(
      fc.property(fc.record(settings), ({ offset, sense, zeroPhase, ...on }) => {
        const start: Reference = { ...reference, ...on };
        const f = makeFrame({ sense, zeroPhase, references: [start] });
        const angle = (p: Label) => (sense === 'lag' ? -1 : 1) * PHASE_DEG[p] + offset;
        const seen = (['A', 'B', 'C', 'A', 'B'] as const).map((phase, k) => ({
          terminal: `t${k}`,
          relativeDeg: angle(phase),
          phase,
        }));
        const c = calibrateReference(seen, f, start);
        expect(c.calibrated).to.equal(true);
        if (!c.calibrated) return;
        const calibrated = makeFrame({ sense, zeroPhase, references: [{ ...start, offsetDeg: c.offsetDeg }] });
        for (const phase of ['A', 'B', 'C'] as const) {
          expect(identify([read('t', angle(phase))], calibrated, { sequence: 'ABC' }).phase).to.equal(phase);
        }
      }),
      { seed: 51, numRuns: 100 },
    );
  });

  it('an expected angle may be given instead of a phase', () => {
    const seen = [0, 1, 2].map((k) => ({ terminal: `t${k}`, relativeDeg: 77 + k, expectedDeg: 30 }));
    const c = calibrateReference(seen, frame, reference);
    expect(c.calibrated && c.offsetDeg).to.be.closeTo(48, 1e-9);
  });

  it('a conductor with neither reading nor phase is an error of the program', () => {
    expect(() => calibrateReference([{ terminal: 't', phase: 'A' }], frame, reference)).to.throw(
      RangeError,
      /neither sample/,
    );
    expect(() => calibrateReference([{ terminal: 't', relativeDeg: 0, phase: 'X' }], frame, reference)).to.throw(
      RangeError,
      /A, B, C/,
    );
  });
});

describe('the vote', () => {
  it('does not care where zero is', () => {
    const offsets = fc.array(fc.double({ min: -180, max: 180, noNaN: true }), { minLength: 3, maxLength: 8 });
    fc.assert(
      fc.property(offsets, fc.double({ min: -180, max: 180, noNaN: true }), (o, by) => {
        const [a, b] = [voteOffset(o), voteOffset(o.map((x) => x + by))];
        expect(b?.supporters).to.deep.equal(a?.supporters);
        if (a && b) expect(separation(b.offsetDeg, a.offsetDeg + by)).to.be.below(1e-6);
      }),
      { seed: 52 },
    );
  });
});
