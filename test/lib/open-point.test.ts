import { expect } from 'chai';
import fc from 'fast-check';
import {
  type CompareOptions,
  type ConductorReadings,
  compareOpenPoint,
  comparePair,
  gapVoltage,
  IEEE_1547_BANDS,
  makeFrame,
  problemsOf,
  type Reading,
} from '../../lib';
import { read, SOUND_CLOCK } from './readings';

const frame = makeFrame({ references: [{ id: 'ref' }] });
const terminals = new Map(['L1', 'L2', 'L3', 'R1', 'R2', 'R3'].map((id) => [id, { id, nominalV: 12470 }]));
const OPTIONS: CompareOptions = { openPoint: 'tie', frame, toleranceDeg: 20, terminals };
const PHASE_DEG = [0, -120, 120];
type Over = Parameters<typeof read>[2];

const LIVE = { voltageV: 7200, voltageIs: 'phase-to-earth' } as const;
function side(name: 'L' | 'R', angles: readonly number[], over: Over = {}): ConductorReadings[] {
  const instrument = { id: name === 'L' ? 'P-1' : 'P-2' };
  const atS = name === 'L' ? 60 : 120;
  return angles.map((a, k) => ({
    terminal: `${name}${k + 1}`,
    readings: [read(`${name}${k + 1}`, a, { ...LIVE, instrument, atS: atS + 10 * k, ...over })],
  }));
}
const angles = (phases: readonly number[], plus = 0) => phases.map((p) => PHASE_DEG[p]! + plus);
const left = side('L', angles([0, 1, 2], 1));
const codes = (c: { reasons: readonly { code: string }[] }) => c.reasons.map((r) => r.code);

/** Both instruments at one conductor, before and after. */
const common = (apartDeg = 1, over: Over = {}) => {
  const pair = (atS: number) =>
    [
      read('ref-post', 10, { instrument: { id: 'P-1' }, atS, ...over }),
      read('ref-post', 10 + apartDeg, { instrument: { id: 'P-2' }, atS: atS + 5, ...over }),
    ] as const;
  return { before: pair(0), after: pair(300) };
};
const UNLOCKED = { errorUs: 10, source: 'ptp' } as const;

describe('compare an open point: landing', () => {
  it('takes plain readings as well as readings by terminal, and finds the same', () => {
    const right = side('R', angles([1, 2, 0], 4));
    const plain = (s: readonly ConductorReadings[]) => s.flatMap((c) => c.readings);
    const found = compareOpenPoint(left, right, OPTIONS);
    expect(compareOpenPoint(plain(left), plain(right), OPTIONS)).to.deep.equal(found);
    expect(comparePair(plain(left)[0]!, plain(right)[0]!, OPTIONS)).to.deep.equal(
      comparePair(left[0]!, right[0]!, OPTIONS),
    );
  });

  it('straight: the same phase, with the standing angle and its bound', () => {
    const c = compareOpenPoint(left, side('R', angles([0, 1, 2], 4)), OPTIONS);
    expect(c).to.include({ verdict: 'same-phase', landing: 'straight', proof: 'attested-time', toleranceDeg: 20 });
    expect(c.standingAngleDeg).to.be.closeTo(-3, 1e-9);
    expect(c.standingAngleUpperDeg).to.be.closeTo(
      3 + 3.29 * Math.hypot((2 * Math.SQRT2) / Math.sqrt(3), 0.0216 * Math.SQRT2),
      1e-6,
    );
    expect(c.reasons).to.deep.equal([]);
    expect(c.belongs).to.deep.equal(
      [0, 1, 2].map((k) => ({ left: `L${k + 1}`, right: `R${k + 1}`, landedOn: `R${k + 1}` })),
    );
    expect(problemsOf('comparison', c)).to.deep.equal([]);
  });

  for (const [landing, name] of [
    [[1, 2, 0], 'rolled'],
    [[2, 0, 1], 'rolled'],
    [[0, 2, 1], 'swapped'],
    [[1, 0, 2], 'swapped'],
    [[2, 1, 0], 'swapped'],
  ] as const) {
    it(`right side carries ${landing.map((p) => 'ABC'[p]).join('')}: ${name}, and which belongs where`, () => {
      const c = compareOpenPoint(left, side('R', angles(landing, -2)), OPTIONS);
      expect(c).to.include({ verdict: 'not-the-same-phase', landing: name });
      for (const b of c.belongs)
        expect(PHASE_DEG[landing[Number(b.right[1]) - 1]!]).to.equal(PHASE_DEG[Number(b.left[1]) - 1]);
      expect(c.belongs.map((b) => b.landedOn)).to.deep.equal(['R1', 'R2', 'R3']);
      expect(c.reasons[0]?.code).to.equal(`landing-${name}`);
    });
  }

  it('all pairs a vector-group step apart: not the same phase, though no landing explains it', () => {
    const c = compareOpenPoint(left, side('R', angles([0, 1, 2], 31)), OPTIONS);
    expect(c).to.include({ verdict: 'not-the-same-phase' });
    expect(codes(c)).to.deep.equal(['standing-angle-over-tolerance']);
    expect(c.standingAngleDeg).to.be.closeTo(-30, 1e-9);
  });

  it('two conductors of the right side on one phase: not proven', () => {
    const c = compareOpenPoint(left, side('R', angles([0, 0, 2])), OPTIONS);
    expect(c).to.include({ verdict: 'not-proven', landing: null, standingAngleDeg: null });
    expect(codes(c)).to.include('landing-unproven');
    expect(c.belongs).to.deep.equal([]);
  });

  it('a standing angle whose bound crosses the tolerance: not proven', () => {
    const c = compareOpenPoint(left, side('R', angles([0, 1, 2], 19)), OPTIONS);
    expect(c.verdict).to.equal('not-proven');
    expect(codes(c)).to.include('standing-angle-unproven');
  });

  it('lag sense turns the sign of the standing angle and nothing else', () => {
    const lag = { ...OPTIONS, frame: makeFrame({ sense: 'lag', references: [{ id: 'ref' }] }) };
    const negated = (cs: ConductorReadings[]) =>
      cs.map((c) => ({ ...c, readings: (c.readings as Reading[]).map((r) => ({ ...r, angleDeg: -r.angleDeg! })) }));
    const c = compareOpenPoint(negated(left), negated(side('R', angles([0, 1, 2], 4))), lag);
    expect(c).to.include({ verdict: 'same-phase' });
    expect(c.standingAngleDeg).to.be.closeTo(-3, 1e-9);
  });
});

describe('compare an open point: fewer pairs', () => {
  it('one pair: the same phase, or another one that is not named', () => {
    expect(comparePair(left[0]!, side('R', [2])[0]!, OPTIONS)).to.include({
      verdict: 'same-phase',
      landing: 'straight',
    });
    for (const a of [120, -120]) {
      const c = comparePair(left[0]!, side('R', [a])[0]!, OPTIONS);
      expect(c).to.include({ verdict: 'not-the-same-phase', landing: null });
      expect(c.belongs).to.deep.equal([]);
    }
  });

  it('two pairs: all six ways, whichever way the left side turns', () => {
    const ways: [number[], string, string | null][] = [
      [[0, 1], 'same-phase', 'straight'],
      [[1, 0], 'not-the-same-phase', 'swapped'],
      [[1, 2], 'not-the-same-phase', 'rolled'],
      [[2, 0], 'not-the-same-phase', 'rolled'],
      [[0, 2], 'not-the-same-phase', null],
      [[2, 1], 'not-the-same-phase', null],
    ];
    for (const turn of [1, -1]) {
      for (const [phases, verdict, landing] of ways) {
        const turned = (ps: readonly number[]) => ps.map((p) => turn * PHASE_DEG[p]!);
        const c = compareOpenPoint(side('L', turned([0, 1])), side('R', turned(phases)), OPTIONS);
        expect(c, `${phases} ${turn}`).to.include({ verdict, landing });
        for (const b of c.belongs) expect(phases[Number(b.right[1]) - 1]).to.equal(Number(b.left[1]) - 1);
      }
    }
  });

  it('two pairs whose left conductors are one and the same: not proven', () => {
    expect(compareOpenPoint(side('L', [0, 1]), side('R', [0, 1]), OPTIONS).verdict).to.equal('not-proven');
  });

  it('other shapes are an error of the program', () => {
    expect(() => compareOpenPoint([], [], OPTIONS)).to.throw(RangeError);
    expect(() => compareOpenPoint(left, side('R', [0]), OPTIONS)).to.throw(RangeError);
    expect(() => comparePair(left[0]!, left[0]!, OPTIONS)).to.throw(RangeError);
    expect(() => comparePair(left[0]!, { terminal: 'R1', readings: [] }, OPTIONS)).to.throw(
      RangeError,
      /R1 has no readings/,
    );
  });
});

describe('compare an open point: what must be shown', () => {
  const right = side('R', angles([0, 1, 2], 1));
  const refused = (c: ReturnType<typeof compareOpenPoint>, code: string) => {
    expect(c.verdict).to.equal('not-proven');
    expect(codes(c)).to.include(code);
    for (const r of c.reasons.filter((x) => !x.code.startsWith('gap'))) expect(r.settle, r.code).to.be.a('string');
  };

  it('clocks of both sides known and within budget; else not even a difference is proven', () => {
    for (const clock of [undefined, { locked: true }, { errorUs: 101, locked: true }]) {
      const code = clock && 'errorUs' in clock ? 'time-out-of-budget' : 'time-quality-unknown';
      refused(compareOpenPoint(left, side('R', angles([0, 1, 2]), { clock }), OPTIONS), code);
      refused(compareOpenPoint(left, side('R', angles([1, 2, 0]), { clock }), OPTIONS), code);
      refused(compareOpenPoint(side('L', angles([0, 1, 2]), { clock }), right, OPTIONS), code);
    }
  });

  it('attested time on both sides, or the common conductor', () => {
    const unlocked = side('R', angles([0, 1, 2], 1), { clock: UNLOCKED });
    refused(compareOpenPoint(left, unlocked, OPTIONS), 'common-time-unproven');
    const proven = compareOpenPoint(left, unlocked, { ...OPTIONS, proof: common() });
    expect(proven).to.include({ verdict: 'same-phase', proof: 'common-conductor' });
    expect(proven.from).to.include.members([...common().before, ...common().after].map((r) => r.id));
  });

  it('a frame may ask for the common conductor even so', () => {
    refused(compareOpenPoint(left, right, { ...OPTIONS, requireProof: 'common-conductor' }), 'common-time-unproven');
    const c = compareOpenPoint(left, right, { ...OPTIONS, requireProof: 'common-conductor', proof: common() });
    expect(c.verdict).to.equal('same-phase');
  });

  it('a common conductor that disagrees forbids every verdict, however good the clocks say they are', () => {
    for (const phases of [
      [0, 1, 2],
      [1, 2, 0],
    ]) {
      refused(
        compareOpenPoint(left, side('R', angles(phases)), { ...OPTIONS, proof: common(9) }),
        'common-conductor-disagrees',
      );
    }
    // 3 sqrt(2) s_e with s_e = 2 is 8.49 degrees.
    expect(compareOpenPoint(left, right, { ...OPTIONS, proof: common(8.4) }).verdict).to.equal('same-phase');
    refused(compareOpenPoint(left, right, { ...OPTIONS, proof: common(8.6) }), 'common-conductor-disagrees');
  });

  it('an undeclared third of a cycle on the right makes a roll look straight: the common conductor shows it', () => {
    const lying = side('R', angles([2, 0, 1], -120));
    expect(compareOpenPoint(left, lying, OPTIONS).verdict).to.equal('same-phase');
    refused(compareOpenPoint(left, lying, { ...OPTIONS, proof: common(-120) }), 'common-conductor-disagrees');
  });

  it('tells no bound, gap or probability where the common time is not proven: a roll hidden by the clock would look 3 degrees apart', () => {
    const hidden = { clock: { source: 'unknown' as const } };
    const unattested = { clock: UNLOCKED };
    const contradicted = { ...OPTIONS, proof: common(120) };
    const cases = [
      compareOpenPoint(left, side('R', angles([0, 1, 2], 4), hidden), OPTIONS),
      compareOpenPoint(left, side('R', angles([0, 1, 2], 4), unattested), OPTIONS),
      compareOpenPoint(left, side('R', angles([0, 1, 2], 4)), contradicted),
    ];
    for (const c of cases) {
      expect(c).to.include({
        verdict: 'not-proven',
        probability: 0,
        standingAngleDeg: null,
        standingAngleUpperDeg: null,
      });
      for (const p of c.pairs) {
        expect(p.differenceDeg).to.be.closeTo(-3, 1e-9);
        expect(p).to.include({ sdDeg: null, gapV: null, gapUpperV: null });
      }
      expect(problemsOf('comparison', c)).to.deep.equal([]);
    }
    const strict = compareOpenPoint(left, side('R', angles([0, 1, 2], 4)), {
      ...OPTIONS,
      requireProof: 'common-conductor',
    });
    expect(strict).to.include({ verdict: 'not-proven', proof: 'attested-time' });
    expect(strict.pairs[0]!.sdDeg).to.be.above(0);
  });

  it('a common conductor read by other instruments, elsewhere, or at another time does not count', () => {
    const unlocked = side('R', angles([0, 1, 2], 1), { clock: UNLOCKED });
    const with_ = (proof: CompareOptions['proof']) =>
      compareOpenPoint(left, unlocked, { ...OPTIONS, ...(proof ? { proof } : {}) });
    refused(with_(common(1, { instrument: { id: 'P-9' } })), 'common-conductor-not-tied');
    refused(with_({ ...common(), after: common().before }), 'common-conductor-not-around');
    const [l, r] = common().before;
    refused(
      with_({ ...common(), before: [l, { ...(r as Reading), terminal: 'other-post' }] }),
      'common-conductor-not-common',
    );
  });

  it('one instrument on both sides is counted and stated, with attested time', () => {
    const one = { instrument: { id: 'P-1' } };
    const c = compareOpenPoint(side('L', angles([0, 1, 2]), one), side('R', angles([0, 1, 2]), one), OPTIONS);
    expect(c).to.include({ verdict: 'same-phase', proof: 'same-instrument' });
    refused(
      compareOpenPoint(
        side('L', angles([0, 1, 2]), one),
        side('R', angles([0, 1, 2]), { ...one, clock: UNLOCKED }),
        OPTIONS,
      ),
      'common-time-unproven',
    );
  });

  it('one instrument on both sides proves its time by the common conductor before and after, not by agreeing with itself', () => {
    const one = { instrument: { id: 'P-1' } };
    // Its time jumps by a third of a cycle between the sides: a roll looks straight.
    const [l, rolled] = [side('L', angles([0, 1, 2]), one), side('R', angles([2, 0, 1], -120), one)];
    const proof = (afterDeg: number): NonNullable<CompareOptions['proof']> => {
      const [before, after] = [common().before[0], common().after[0]] as [Reading, Reading];
      const moved = { ...after, angleDeg: before.angleDeg! + afterDeg };
      return { before: [before, before], after: [moved, moved] };
    };
    const strict = { ...OPTIONS, requireProof: 'common-conductor' as const };
    refused(compareOpenPoint(l, rolled, { ...strict, proof: proof(-120) }), 'common-conductor-disagrees');
    const straight = side('R', angles([0, 1, 2]), one);
    expect(compareOpenPoint(l, straight, { ...strict, proof: proof(2) }).verdict).to.equal('same-phase');
  });

  it('both sides live: read in contact, or stated', () => {
    const silent = side('R', angles([0, 1, 2]), { voltageV: undefined });
    refused(compareOpenPoint(left, silent, OPTIONS), 'live-not-shown');
    expect(compareOpenPoint(left, silent, { ...OPTIONS, live: { right: true } }).verdict).to.equal('same-phase');
    refused(
      compareOpenPoint(left, side('R', angles([0, 1, 2]), { coupling: 'test-point' }), OPTIONS),
      'live-not-shown',
    );
    const both = { voltageV: undefined };
    const c = compareOpenPoint(side('L', angles([0, 1, 2]), both), side('R', angles([0, 1, 2]), both), OPTIONS);
    expect(codes(c).filter((x) => x === 'live-not-shown').length, 'told for each side').to.equal(2);
  });

  it('no refused reading among those used, even beside a good one', () => {
    const bad = read('R1', 0, { ...LIVE, atS: 130, instrument: { id: 'P-2', selfTest: 'fail' } });
    const twice = [{ terminal: 'R1', readings: [...right[0]!.readings, bad] }, right[1]!, right[2]!];
    refused(compareOpenPoint(left, twice, OPTIONS), 'self-test-failed');
  });

  it('everything read within the window', () => {
    refused(compareOpenPoint(left, side('R', angles([0, 1, 2]), { atS: 700 }), OPTIONS), 'outside-window');
    expect(
      compareOpenPoint(left, side('R', angles([0, 1, 2]), { atS: 700 }), { ...OPTIONS, windowS: 900 }).verdict,
    ).to.equal('same-phase');
  });

  it('angles against different things do not compare; UTC compares when carried by the frequency', () => {
    refused(compareOpenPoint(left, side('R', angles([0, 1, 2]), { against: 'utc' }), OPTIONS), 'against-differs');
    const utc = { against: 'utc', frequencyHz: 59.98 };
    // 0.02 Hz slow for one second is 7.2 degrees.
    const c = compareOpenPoint(
      side('L', angles([0, 1, 2]), { ...utc, atS: 0 }),
      side('R', angles([0, 1, 2], -7.2), { ...utc, atS: 1 }),
      OPTIONS,
    );
    expect(c.verdict).to.equal('same-phase');
    expect(c.standingAngleDeg).to.be.closeTo(0, 1e-9);
    expect(c.standingAngleUpperDeg, 'wider for the carrying').to.be.above(6);
    refused(
      compareOpenPoint(side('L', angles([0, 1, 2]), utc), side('R', angles([0, 1, 2]), utc), OPTIONS),
      'instants-differ',
    );
  });

  it('no same-phase verdict without proof of time, clocks, voltage and window, whatever the combination', () => {
    const clocks = [
      undefined,
      {},
      UNLOCKED,
      SOUND_CLOCK,
      { errorUs: 500, locked: true },
      { errorUs: 1, locked: false },
    ] as const;
    const clock = fc.constantFrom(...clocks);
    fc.assert(
      fc.property(
        clock,
        clock,
        fc.boolean(),
        fc.boolean(),
        fc.boolean(),
        fc.constantFrom(100, 700),
        (cl, cr, proof, volts, coupled, atS) => {
          const over: Over = { voltageV: volts ? 7200 : undefined, coupling: coupled ? 'contact' : 'air' };
          const c = compareOpenPoint(
            side('L', angles([0, 1, 2]), { ...over, clock: cl }),
            side('R', angles([0, 1, 2]), { ...over, clock: cr, atS }),
            { ...OPTIONS, ...(proof ? { proof: common() } : {}) },
          );
          const known = [cl, cr].every((x) => x === UNLOCKED || x === SOUND_CLOCK);
          // With the right side at 700 s the closing reading of the common conductor came before it.
          const proven = (proof && atS === 100) || (cl === SOUND_CLOCK && cr === SOUND_CLOCK);
          expect(c.verdict === 'same-phase').to.equal(known && proven && volts && coupled && atS === 100);
        },
      ),
      { seed: 41, numRuns: 300 },
    );
  });
});

describe('compare an open point: gap voltage', () => {
  // Law of cosines; the rows are those of the table of ALGORITHMS and of published closing-angle tables: 2 V sin(d/2).
  for (const [deg, pu] of [
    [2, 0.0349],
    [5, 0.0872],
    [10, 0.1743],
    [20, 0.3473],
    [30, 0.5176],
    [60, 1],
    [120, 1.7321],
    [180, 2],
  ] as const) {
    it(`equal voltages ${deg} degrees apart: ${pu} pu`, () => {
      expect(gapVoltage(1, 1, deg, 0, 0).gapV).to.be.closeTo(pu, 5e-5);
      expect(gapVoltage(1, 1, -deg, 0, 0).gapV).to.be.closeTo(pu, 5e-5);
    });
  }

  it('the bound covers the true gap: in 2000 noisy measurements it is exceeded by few', () => {
    let over = 0;
    fc.assert(
      fc.property(
        fc.double({ min: -20, max: 20, noNaN: true }),
        fc.array(fc.double({ min: -1, max: 1, noNaN: true }), { minLength: 3, maxLength: 3 }),
        (d, e) => {
          const truth = gapVoltage(7200, 7100, d, 0, 0).gapV;
          const seen = gapVoltage(7200 + 250 * e[0]!, 7100 + 250 * e[1]!, d + 6 * e[2]!, 2, 100);
          if (seen.gapUpperV < truth) over++;
          expect(seen.gapUpperV).to.be.at.least(seen.gapV);
        },
      ),
      { seed: 42, numRuns: 2000 },
    );
    expect(over).to.equal(0);
  });

  it('is measured for each pair in contact at one level, and null with the reason otherwise', () => {
    const c = compareOpenPoint(left, side('R', angles([0, 1, 2], 11)), OPTIONS);
    for (const p of c.pairs) {
      expect(p.gapV).to.be.closeTo(7200 * 2 * Math.sin((5 * Math.PI) / 180), 1);
      expect(p.gapUpperV).to.be.above(p.gapV!);
    }
    const none = (over: Over, options = OPTIONS) => {
      const x = compareOpenPoint(left, side('R', angles([0, 1, 2]), over), options);
      for (const p of x.pairs) expect(p).to.include({ gapV: null, gapUpperV: null });
      return codes(x).filter((r) => r.startsWith('gap'));
    };
    expect(none({ coupling: 'test-point' })).to.deep.equal(['gap-voltage-not-in-contact']);
    expect(none({ voltageV: undefined })).to.deep.equal(['gap-voltage-unread']);
    expect(none({ voltageV: 12470, voltageIs: 'phase-to-phase' })).to.deep.equal(['gap-voltage-levels-differ']);
    const levels = new Map([...terminals].map(([id, t]) => [id, id.startsWith('R') ? { id, nominalV: 13200 } : t]));
    expect(none({}, { ...OPTIONS, terminals: levels })).to.deep.equal(['gap-voltage-levels-differ']);
  });
});

describe('compare an open point: the record', () => {
  it('has an id from what it says and rests on, a caution, and no word that permits', () => {
    const right = side('R', angles([0, 1, 2]));
    const c = compareOpenPoint(left, right, OPTIONS);
    expect(compareOpenPoint(left, right, OPTIONS).id).to.equal(c.id);
    expect(compareOpenPoint(left, right, { ...OPTIONS, toleranceDeg: 21 }).id).to.not.equal(c.id);
    expect(compareOpenPoint(left, right, { ...OPTIONS, openPoint: 'other' }).id).to.not.equal(c.id);
    expect(Object.isFrozen(c)).to.equal(true);
    expect(c.caution).to.match(/permits nothing/);
    expect(JSON.stringify(c)).to.not.match(/\bsafe|de-energi|dead|close the|\bGO\b|NO-GO/i);
  });

  it('offers the synchronising bands by size (IEEE Std 1547-2018 Table 5, from memory)', () => {
    expect(IEEE_1547_BANDS.map((b) => [b.angleDeg, b.voltagePct, b.frequencyHz])).to.deep.equal([
      [20, 10, 0.3],
      [15, 5, 0.2],
      [10, 3, 0.1],
    ]);
  });
});
