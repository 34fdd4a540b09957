import { expect } from 'chai';
import fc from 'fast-check';
import {
  type Connection,
  connectionAngle,
  type Frame,
  identify,
  makeFrame,
  phaseClasses,
  problemsOf,
  type RelativeReading,
  scorePhase,
  type Terminal,
  wrap180,
  wrappedNormal,
} from '../../lib';
import { read } from './readings';

const EVERY: readonly Connection[] = ['phase-neutral', 'phase-neutral-reversed', 'phase-phase', 'phase-phase-reversed'];
const frame = makeFrame({ references: [{ id: 'ref' }] });
const all12 = makeFrame({ references: [{ id: 'ref', path: [] }], connections: EVERY });
const codes = (i: { reasons: readonly { code: string }[] }) => i.reasons.map((r) => r.code);

describe('identify: one conductor', () => {
  for (const [angleDeg, phase, slot] of [
    [1.2, 'A', 0],
    [-118.4, 'B', 8],
    [238, 'B', 8],
    [123, 'C', 4],
  ] as const) {
    it(`${angleDeg} degrees is ${phase}`, () => {
      const found = identify([read('t', angleDeg)], frame);
      expect(found).to.include({ verdict: 'confirmed', phase, slot, connection: 'phase-neutral', reference: 'ref' });
      expect(found.probability).to.be.above(0.999);
      expect(found.residualDeg).to.be.closeTo(wrap180(angleDeg - 30 * slot), 1e-9);
    });
  }

  it('keeps the schema of the record, decided and not', () => {
    for (const readings of [[read('t', 1)], [read('t', 60)], [read('t', undefined, { voltageV: 100 })]]) {
      expect(problemsOf('identification', identify(readings, frame))).to.deep.equal([]);
    }
  });

  it('twelve classes stand on the twelve multiples of 30 degrees, and each is found', () => {
    for (const connection of EVERY) {
      for (const phase of [0, 1, 2]) {
        const angleDeg = connectionAngle(phase, connection);
        const found = identify([read('t', angleDeg + 2)], all12);
        expect(found).to.include({
          phase: all12.phases[phase],
          connection,
          slot: Math.round((angleDeg + 360) / 30) % 12,
        });
      }
    }
  });

  it('lag sense: instruments that show lag as positive', () => {
    const lag = makeFrame({ sense: 'lag', references: [{ id: 'ref' }] });
    expect(identify([read('t', 118)], lag)).to.include({ phase: 'B', angleDeg: -118 });
  });

  it('another phase may read zero', () => {
    const zeroB = makeFrame({ zeroPhase: 'B', references: [{ id: 'ref' }] });
    expect(identify([read('t', 0)], zeroB).phase).to.equal('B');
    expect(identify([read('t', 120)], zeroB).phase).to.equal('A');
    expect(identify([read('t', -120)], zeroB).phase).to.equal('C');
  });

  it('the reference may stand on another phase or connection, and be off by its offset', () => {
    const on = (r: object) => makeFrame({ references: [{ id: 'ref', ...r }] });
    expect(identify([read('t', 120)], on({ phase: 'B' })).phase).to.equal('A');
    expect(identify([read('t', -30)], on({ connection: 'phase-phase' })).phase).to.equal('A');
    expect(identify([read('t', 47)], on({ offsetDeg: 47 })).phase).to.equal('A');
    const lag = makeFrame({ sense: 'lag', references: [{ id: 'ref', offsetDeg: 40 }] });
    expect(identify([read('t', 160)], lag).phase).to.equal('B');
  });

  it('a reference given with the call stands in for the one of the frame', () => {
    const reference = { id: 'ref', phase: 'A', connection: 'phase-neutral', offsetDeg: 120, offsetSdDeg: 1 } as const;
    expect(identify([read('t', 120)], frame, { reference }).phase).to.equal('A');
  });

  it('takes the vector groups on the way: Dyn1 puts A at -30, Dyn11 at +30 (IEC 60076-1 clock numbers)', () => {
    const behind = (path: string[]) =>
      identify([read('t', path[0] === 'Dyn1' ? -30 : 30)], frame, { terminal: { id: 't', path } });
    expect(behind(['Dyn1'])).to.include({ phase: 'A', verdict: 'confirmed', slot: 11 });
    expect(behind(['Dyn11'])).to.include({ phase: 'A', verdict: 'confirmed', slot: 1 });
  });

  it('a reversed sequence at a winding is suspected, never concluded', () => {
    const terminal: Terminal = { id: 't', path: ['Dyn1'] };
    const found = identify([read('t', 30)], frame, { terminal });
    expect(found).to.include({ verdict: 'not-proven', phase: null });
    expect(codes(found)).to.include('sequence-unproven');
    expect(identify([read('t', 30)], frame, { terminal, sequence: 'ACB' })).to.include({
      phase: 'A',
      verdict: 'confirmed',
    });
  });

  it('the phase in the record is never part of the evidence', () => {
    for (const angleDeg of [0, 28, 55, 120]) {
      const [plain, ...recorded] = [undefined, 'A', 'B', 'C'].map((recordedPhase) =>
        identify([read('t', angleDeg)], frame, { terminal: { id: 't', ...(recordedPhase ? { recordedPhase } : {}) } }),
      );
      for (const r of recorded) {
        expect(r.probability).to.equal(plain!.probability);
        expect(r.phase).to.equal(plain!.phase);
        expect(r.agreesWithRecord).to.equal(r.phase === null ? null : r.phase === r.recordedPhase);
      }
    }
  });

  it('the posterior is prior times likelihood (checked against the wrapped normal itself)', () => {
    const classes = phaseClasses(all12, { connection: 'phase-neutral', path: [] });
    const posterior = new Float64Array(classes.count);
    fc.assert(
      fc.property(
        fc.double({ min: -180, max: 179.9, noNaN: true }),
        fc.double({ min: 1, max: 15, noNaN: true }),
        (angle, sd) => {
          const best = scorePhase(classes, angle, sd, 0.01, posterior);
          const raw = Array.from(
            classes.expectedDeg,
            (mu, c) => classes.prior[c]! * (0.99 * wrappedNormal(angle - mu, sd) + 0.01 / 360),
          );
          const total = raw.reduce((a, b) => a + b, 0);
          raw.forEach((p, c) => {
            expect(posterior[c]).to.be.closeTo(p / total, 1e-9);
          });
          expect(posterior[best]).to.equal(Math.max(...posterior));
        },
      ),
      { seed: 21 },
    );
  });
});

describe('identify: refusal', () => {
  const refused = (found: ReturnType<typeof identify>, code: string) => {
    expect(found).to.include({ verdict: 'not-proven', phase: null, connection: null });
    expect(codes(found)).to.include(code);
    expect(found.reasons.find((r) => r.code === code)?.settle, 'what would settle it').to.be.a('string');
    return found;
  };

  it('an angle between two phases fits none; the slot is told all the same', () => {
    const found = refused(identify([read('t', 60)], frame), 'fits-no-phase');
    expect(found.slot).to.equal(2);
    expect(found.candidates.length).to.be.at.least(2);
  });

  it('an angle between two classes is ambiguous and names both', () => {
    const polar = makeFrame({ references: [{ id: 'ref', path: [] }], connections: EVERY.slice(0, 2) });
    const found = refused(identify([read('t', 31, { sigmaDeg: 9 })], polar), 'ambiguous');
    expect(found.reasons.find((r) => r.code === 'ambiguous')?.why).to.match(
      /A phase-neutral.*B phase-neutral-reversed|B phase-neutral-reversed.*A phase-neutral/,
    );
  });

  it('the limits of uncertainty are 15, 10, 5 degrees, and 10 when the voltage is known', () => {
    const bare = { unbalanceSdDeg: 0, driftSdDeg: 0, references: [{ id: 'ref', offsetSdDeg: 0, path: [] }] };
    const terminal: Terminal = { id: 't', nominalV: 12470, connection: 'phase-neutral' };
    const at = (f: Frame, sigmaDeg: number, voltageV?: number) =>
      codes(
        identify([read('t', 0, { sigmaDeg, voltageV, clock: { source: 'gnss', errorUs: 0, locked: true } })], f, {
          terminal,
        }),
      ).includes('uncertainty-too-large');
    for (const [connections, limit] of [
      [EVERY.slice(0, 1), 15],
      [EVERY.slice(0, 2), 10],
      [EVERY, 5],
    ] as const) {
      const f = makeFrame({ ...bare, connections });
      expect(at(f, limit), `${limit} itself`).to.equal(false);
      expect(at(f, limit + 0.01), `over ${limit}`).to.equal(true);
    }
    expect(at(makeFrame({ ...bare, connections: EVERY }), 10, 7200)).to.equal(false);
    expect(at(makeFrame({ ...bare, connections: EVERY }), 10.01, 7200)).to.equal(true);
  });

  it('many readings do not average away what they share', () => {
    const drifting = makeFrame({ driftSdDeg: 16, references: [{ id: 'ref' }] });
    const many = Array.from({ length: 50 }, (_, n) => read('t', 0.1 * (n % 5), { atS: n }));
    const found = refused(identify(many, drifting), 'uncertainty-too-large');
    expect(found.sdDeg).to.be.above(16);
  });

  it('many readings do average what is their own', () => {
    const noisy = Array.from({ length: 25 }, (_, n) => read('t', (n % 5) - 2, { atS: n, sigmaDeg: 10 }));
    expect(identify(noisy, frame).sdDeg).to.be.closeTo(Math.hypot(2, 3, 1, 1.5, 0.0216), 1e-9);
  });

  it('readings of one conductor that contradict each other prove nothing', () => {
    refused(identify([read('t', 0), read('t', 40, { atS: 1 })], frame), 'readings-disagree');
    refused(identify([read('t', 0), read('t', 180, { atS: 1 })], frame), 'readings-disagree');
  });

  it('an unfit reading is left out and named when others remain', () => {
    const found = identify([read('t', 0), read('t', 120, { atS: 1, clock: undefined })], frame);
    expect(found).to.include({ verdict: 'confirmed', phase: 'A' });
    expect(codes(found)).to.deep.equal(['time-quality-unknown']);
  });

  it('unknown time quality, an unknown reference, UTC without a reference, no angle', () => {
    refused(identify([read('t', 0, { clock: undefined })], frame), 'time-quality-unknown');
    refused(identify([read('t', 0, { against: 'elsewhere' })], frame), 'reference-unknown');
    refused(identify([read('t', 0, { against: 'utc' })], frame), 'not-aligned');
    refused(identify([read('t', undefined, { voltageV: 7200 })], frame), 'no-angle');
    refused(
      identify([read('t', 0, { voltageV: 0 })], frame, { terminal: { id: 't', nominalV: 12470 } }),
      'no-voltage-read',
    );
  });

  it('what speaks against the reference speaks against every reading held against it', () => {
    const referenceReasons = [{ code: 'reference-not-synchronous', why: 'it turns', settle: 'use another' }];
    refused(identify([read('t', 0)], frame, { referenceReasons }), 'reference-not-synchronous');
  });

  it('a vector group that is not known leaves the slot and no phase', () => {
    const found = refused(
      identify([read('t', -30)], frame, { terminal: { id: 't', path: ['Dyn1', 'unknown'] } }),
      'vector-group-unknown',
    );
    expect(found.slot).to.equal(11);
    expect(found.reasons[0]?.why).to.match(/slot 11 of 30 degrees/);
    expect(found.probability).to.be.closeTo(1 / 3, 1e-12);
  });

  it('with more than one connection possible, a path nobody stated counts as unknown', () => {
    for (const connections of [EVERY, EVERY.slice(0, 2)]) {
      const unstated = makeFrame({ references: [{ id: 'ref' }], connections });
      refused(identify([read('t', -30)], unstated), 'vector-group-unknown');
    }
  });

  it('several terminals, or none, are an error of the program', () => {
    expect(() => identify([], frame)).to.throw(RangeError);
    expect(() => identify([read('a', 0), read('b', 0)], frame)).to.throw(RangeError, /a, b/);
  });
});

describe('identify: voltage as evidence', () => {
  const terminal: Terminal = { id: 't', nominalV: 12470 };
  const wide = makeFrame({ references: [{ id: 'ref', path: [] }], connections: EVERY, driftSdDeg: 6 });

  it('sqrt 3 tells phase-phase from phase-neutral where the angle alone may not', () => {
    expect(identify([read('t', 12, { voltageV: 7300 })], wide, { terminal })).to.include({
      phase: 'A',
      connection: 'phase-neutral',
    });
    expect(identify([read('t', 18, { voltageV: 12600 })], wide, { terminal })).to.include({
      phase: 'A',
      connection: 'phase-phase',
    });
    expect(identify([read('t', 12)], wide, { terminal }).verdict).to.equal('not-proven');
  });

  it('a capacitive test point is no voltage', () => {
    expect(identify([read('t', 12, { voltageV: 7300, coupling: 'test-point' })], wide, { terminal }).verdict).to.equal(
      'not-proven',
    );
  });
});

describe('identify: the record', () => {
  const relative = (relativeDeg: number, from: string[]): RelativeReading => ({
    reading: read('t', 77, { against: 'utc' }),
    reference: 'ref',
    relativeDeg,
    sdDeg: 2,
    commonSdDeg: 0.3,
    from,
  });

  it('has the same id when an alignment moves a figure or uses one more reference reading', () => {
    const [a, b] = [identify([relative(1.2, ['r1'])], frame), identify([relative(1.3, ['r1', 'r2'])], frame)];
    expect(a.id).to.equal(b.id);
    expect(a.angleDeg).to.not.equal(b.angleDeg);
    expect(b.from).to.include.members(['r1', 'r2', relative(0, []).reading.id]);
  });

  it('has another id when something else is said, or said of other readings, or in another frame', () => {
    const ids = [
      identify([read('t', 0)], frame),
      identify([read('t', 120)], frame),
      identify([read('t', 0, { atS: 1 })], frame),
      identify([read('t', 0)], makeFrame({ references: [{ id: 'ref', offsetDeg: 1 }] })),
      identify([read('t', 0)], frame, { terminal: { id: 't', path: ['unknown'] } }),
    ].map((i) => i.id);
    expect(new Set(ids).size).to.equal(ids.length);
  });

  it('does not depend on the order of the readings', () => {
    const r = [read('t', 0), read('t', 1, { atS: 1 }), read('t', 2, { atS: 2 })];
    expect(identify(r, frame).id).to.equal(identify([...r].reverse(), frame).id);
  });

  it('is frozen, dated by its newest reading, and carries a caution in evidence words', () => {
    const found = identify([read('t', 0), read('t', 1, { atS: 5 })], frame, {
      site: 's',
      terminal: { id: 't', recordedPhase: 'A' },
    });
    expect(Object.isFrozen(found)).to.equal(true);
    expect(found).to.include({
      at: '2026-05-04T12:00:05.000000Z',
      site: 's',
      recordedPhase: 'A',
      agreesWithRecord: true,
    });
    expect(found.caution)
      .to.match(/not a test for absence of voltage/)
      .and.not.match(/safe|de-energi|dead|close the/i);
  });
});

describe('identify: a third of a cycle', () => {
  // 5.556 ms at 60 Hz is 120 degrees (computed, 360 f dt): from the angle alone it cannot be told from another phase.
  it('of undeclared clock error gives the wrong phase, which is why unknown time gives none', () => {
    const angleDeg = 360 * 60 * 5.556e-3;
    expect(identify([read('t', angleDeg)], frame).phase).to.equal('C');
    expect(identify([read('t', angleDeg, { clock: undefined })], frame).phase).to.equal(null);
    expect(identify([read('t', angleDeg, { clock: { errorUs: 5556, source: 'ntp' } })], frame).phase).to.equal(null);
  });
});
