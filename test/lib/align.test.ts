import { expect } from 'chai';
import { alignToReference } from '../../lib/align';
import { wrap180 } from '../../lib/angle';
import { formatInstant } from '../../lib/instant';
import type { Reading } from '../../lib/records';

const T0 = 1.7e15;
const clock = { source: 'gnss', errorUs: 1, locked: true } as const;
/** A network at a steady 59.98 Hz: an angle against UTC turns by -7.2 degrees a second. */
const HZ = 59.98;
const trueDeg = (s: number) => wrap180(50 + 360 * (HZ - 60) * s);
const at = (s: number, angleDeg: number, over: object = {}): Reading =>
  ({
    kind: 'reading',
    id: `rd-${s}-${angleDeg}`,
    terminal: 'ref',
    takenAt: formatInstant(T0 + Math.round(s * 1e6)),
    angleDeg,
    against: 'utc',
    clock,
    frequencyHz: HZ,
    sigmaDeg: 0.1,
    ...over,
  }) as Reading;
const ref = (s: number, over: object = {}) => at(s, trueDeg(s), over);
const field = (s: number, over: object = {}) => at(s, wrap180(trueDeg(s) - 118), { terminal: 't', ...over });
const result = (reading: Reading, refs: Reading[], options = {}) => {
  const r = alignToReference(reading, refs, options);
  return r.aligned ? { method: r.method, relativeDeg: r.relativeDeg } : r.reasons[0]!.code;
};

describe('aligning a reading with a reference at the same instant (formulas: IEC/IEEE 60255-118-1 phase definition)', () => {
  it('interpolates between the two reference readings around it: comparing at other instants would cost 7.2 degrees a second', () => {
    const r = alignToReference(field(0.5), [ref(0), ref(1)]);
    expect(r.aligned && r.method).to.equal('interpolated');
    expect(r.aligned && r.relativeDeg).to.be.closeTo(-118, 1e-6);
  });
  it('unwraps over the half turn', () => {
    const s = 180 / 7.2 + 50 / 7.2;
    const r = alignToReference(field(s), [ref(s - 0.5), ref(s + 0.5)]);
    expect(r.aligned && r.relativeDeg).to.be.closeTo(-118, 1e-6);
  });
  it('carries the nearest by its measured frequency, with a growing uncertainty', () => {
    const one = alignToReference(field(1), [ref(0)]);
    const two = alignToReference(field(1.9), [ref(0)]);
    expect(one.aligned && one.method).to.equal('carried');
    expect(one.aligned && one.relativeDeg).to.be.closeTo(-118, 1e-6);
    expect(one.aligned && two.aligned && two.commonSdDeg > one.commonSdDeg).to.equal(true);
  });
  it('says why when it cannot', () => {
    const bare = { frequencyHz: undefined };
    expect(result(field(0), [])).to.equal('reference-missing');
    expect(result(field(10), [ref(0)])).to.equal('reference-too-old');
    expect(result(field(0, { against: 'R1' }), [ref(0)])).to.equal('reading-not-utc');
    expect(result(field(0.5), [ref(0, { clock: { locked: false } }), ref(1, { clock: undefined })])).to.equal(
      'reference-clock-unknown',
    );
    expect(result(field(1, bare), [ref(0, bare)])).to.equal('frequency-unknown');
    expect(result(field(2, bare), [ref(0, bare), ref(4, bare)])).to.equal('reference-gap');
    expect(result(field(0.5, { frequencyHz: 60.02 }), [ref(0), ref(1)])).to.equal('frequencies-disagree');
  });
});
