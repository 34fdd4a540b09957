import { expect } from 'chai';
import { dailyProof, makeFrame } from '../../lib';
import { read } from './readings';

const frame = makeFrame({ references: [{ id: 'ref' }] });
const KNOWN = { terminal: 'shop/1', phase: 'B' };
const by = (terminal: string, angleDeg: number, atS: number, id = 'P-1') =>
  read(terminal, angleDeg, { atS, sigmaDeg: 1, instrument: { id } });
const JOB = [by('S1/1', 1, 600), by('S1/2', -119, 630)];

/** Common practice, no source: an instrument is proven on a known conductor before and after a job. */
describe('the daily proof', () => {
  const told = (...known: ReturnType<typeof by>[]) => {
    const proof = dailyProof(JOB, KNOWN, known, frame);
    return proof.proven ? 'proven' : proof.reasons.map((r) => r.code).join();
  };
  const BEFORE = by('shop/1', -120, 0);

  it('brackets a job when the known conductor is found as its phase before and after', () => {
    const proof = dailyProof(JOB, KNOWN, [by('shop/1', -118, 900), BEFORE, by('shop/1', 60, 300, 'P-2')], frame);
    expect(proof.proven && [proof.before.phase, proof.after.phase, proof.movedDeg]).to.deep.equal(['B', 'B', 2]);
    expect(proof).to.be.frozen;
  });
  it('is wanting without one of the two, by this instrument', () => {
    expect(told(BEFORE)).to.equal('not-bracketed');
    expect(told(by('shop/1', -120, 900))).to.equal('not-bracketed');
    expect(told(BEFORE, by('shop/1', -120, 900, 'P-2'))).to.equal('not-bracketed');
    expect(told(BEFORE, by('shop/2', -120, 900))).to.equal('not-bracketed');
    expect(told(BEFORE, by('shop/1', -120, 13 * 3600))).to.equal('bracket-too-wide');
  });
  it('catches a clock that went off by a third of a cycle, which the readings of the job cannot show', () => {
    expect(told(BEFORE, by('shop/1', 0, 900))).to.equal('known-phase-not-found');
    expect(told(by('shop/1', 0, 0), by('shop/1', 0, 900))).to.equal('known-phase-not-found,known-phase-not-found');
  });
  it('catches a slow drift that is still the same phase', () => {
    expect(told(by('shop/1', -129, 0), by('shop/1', -111, 900))).to.equal('known-conductor-moved');
  });
  it('is for one instrument that is named', () => {
    const two = dailyProof([...JOB, by('S1/3', 121, 640, 'P-2')], KNOWN, [BEFORE], frame);
    expect(!two.proven && two.reasons[0]!.code).to.equal('instrument-not-one');
    expect(() => dailyProof([], KNOWN, [BEFORE], frame)).to.throw(RangeError, 'no readings');
  });
});
