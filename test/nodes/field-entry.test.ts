import { expect } from 'chai';
import { makeFrame } from '../../lib/frame';
import { makeNetwork } from '../../lib/network';
import { parseReading } from '../../lib/reading';
import type { Reading } from '../../lib/records';
import { entered, numberIn, type Typed } from '../../nodes/board/field/entry';
import { type Done, saysSoFar } from '../../nodes/board/field/says';
import { type Step, stepsAt } from '../../nodes/board/field/steps';
import { STRICT, strictest } from '../../nodes/board/field/tie-rule';
import { at, feeder13, PHASES, solved } from '../kit/feeder13';

const INSTRUMENT = {
  id: 'P-01',
  isLocked: true,
  errorUs: '1',
  selfTest: 'pass',
  calibratedOn: '2026-01-10',
  coupling: 'contact',
} as const;
const TYPED: Typed = {
  terminal: '671/1',
  angle: '-118,4',
  voltage: '2401',
  voltageIs: 'phase-to-neutral',
  against: 'SUB',
  instrument: INSTRUMENT,
  by: 'crew 4',
  job: 'W-17',
};
const POINT = {
  id: 'OP-1',
  left: ['671/1', '671/2', '671/3'],
  right: ['692/1', '692/2', '692/3'],
  proofTerminal: '632/1',
};

describe('readings typed by hand', () => {
  it('become readings that the front door takes as they are, with the same id', () => {
    const made = entered(TYPED, at(0));
    if (!made.ok) throw new Error(JSON.stringify(made.problems));
    const parsed = parseReading(JSON.parse(JSON.stringify(made.reading)));
    expect(parsed).to.deep.include({ ok: true, reading: made.reading });
    expect(made.reading).to.include({ angleDeg: -118.4, against: 'SUB', voltageV: 2401, by: 'crew 4', job: 'W-17' });
  });

  it('take a comma, a point, a true minus sign, and nothing that is no number', () => {
    expect(['12,5', ' -3.25', '−118', '+.5', '', '1e3', '1,2,3', 'abc'].map(numberIn)).to.deep.equal([
      12.5,
      -3.25,
      -118,
      0.5,
      undefined,
      Number.NaN,
      Number.NaN,
      Number.NaN,
    ]);
  });

  it('say what is wrong and what would be right', () => {
    const bad = entered({ ...TYPED, angle: '1200', voltage: '-1' }, at(0));
    expect(bad).to.deep.equal({
      ok: false,
      problems: {
        angle: '1200 is no angle; right would be -720 to 720 degrees',
        voltage: '-1 is no voltage; right would be volts, such as 2400',
      },
    });
    expect(entered({ ...TYPED, angle: '', voltage: '' }, at(0)).ok).to.equal(false);
    for (const voltage of ['2,400', '2.400']) {
      const twofold = `${voltage} may be 2400 or a fraction; type volts without a thousands separator`;
      expect(entered({ ...TYPED, voltage }, at(0))).to.deep.equal({ ok: false, problems: { voltage: twofold } });
    }
    expect(['0,120', '2400,5', '2400'].map((voltage) => entered({ ...TYPED, voltage }, at(0)).ok)).to.deep.equal([
      true,
      true,
      true,
    ]);
  });
});

describe('what a visit says so far', () => {
  const network = makeNetwork(feeder13({ openPoints: [POINT] }));
  const frame = makeFrame({ references: [{ id: 'SUB', phase: 'A', offsetSdDeg: 0.2, path: [] }] });
  const place = { kind: 'open-point', id: 'OP-1' } as const;
  const TWO = { hasOne: false, needsCommon: false };
  const steps = stepsAt(network, place, TWO);

  /** Angles and voltages of the solved IEEE 13-node feeder (OpenDSS), typed to a tenth, 20 s apart. */
  const typedAt = (step: Step, i: number, phase: string): Done => {
    const [node] = step.terminal.split('/');
    const { angleDeg, voltageV } = solved.get(`${node}/${phase}`)!;
    const relative = angleDeg - solved.get('650/A')!.angleDeg;
    const made = entered(
      {
        ...TYPED,
        terminal: step.terminal,
        angle: relative.toFixed(1),
        voltage: voltageV.toFixed(0),
        instrument: { ...INSTRUMENT, id: step.side === 'left' ? 'P-01' : 'P-02' },
      },
      at(20 * i),
    );
    return { step, reading: (made as { reading: Reading }).reading };
  };
  const phaseOf = ({ terminal }: Step) => PHASES[Number(terminal.split('/')[1]) - 1]!;
  const visit = (really: Record<string, string> = {}) =>
    steps.map((step, i) => typedAt(step, i, really[step.terminal] ?? phaseOf(step)));

  it('asks for the common conductor before and after, with both instruments, and with one alone where the tie check asks', () => {
    expect(steps.map((s) => s.key)).to.deep.equal([
      'before-left 632/1',
      'before-right 632/1',
      ...POINT.left.map((t) => `left ${t}`),
      ...POINT.right.map((t) => `right ${t}`),
      'after-left 632/1',
      'after-right 632/1',
    ]);
    expect(stepsAt(network, place, { hasOne: true, needsCommon: false })).to.have.length(6);
    const alone = stepsAt(network, place, { hasOne: true, needsCommon: true }).map((s) => s.key);
    expect([alone.length, alone[0], alone[7]]).to.deep.equal([8, 'before-left 632/1', 'after-left 632/1']);
    expect(stepsAt(network, { kind: 'site', id: '671' }, TWO).map((s) => s.terminal)).to.deep.equal(POINT.left);
    expect(stepsAt(network, { kind: 'site', id: 'nowhere' }, TWO)).to.deep.equal([]);
  });

  it('names the phases, the rotation, and that the sides match', () => {
    const says = saysSoFar(frame, network, place, steps, visit(), STRICT);
    expect(says.identifications.map((i) => i.phase)).to.deep.equal(['A', 'B', 'C', 'A', 'B', 'C']);
    expect(says.rotations.map((r) => [r.site, r.sequence])).to.deep.equal([
      ['671', 'ABC'],
      ['692', 'ABC'],
    ]);
    expect(says.comparison).to.include({ verdict: 'same-phase', proof: 'common-conductor', landing: 'straight' });
    expect(says.missing).to.deep.equal([]);
  });

  it('names two conductors swapped, and which', () => {
    const says = saysSoFar(frame, network, place, steps, visit({ '692/2': 'C', '692/3': 'B' }), STRICT);
    expect(says.comparison).to.include({ verdict: 'not-the-same-phase', landing: 'swapped' });
    expect(says.identifications.slice(3).map((i) => i.phase)).to.deep.equal(['A', 'C', 'B']);
    expect(says.rotations.map((r) => r.sequence)).to.deep.equal(['ABC', 'ACB']);
  });

  it('says what is missing on the way, and concludes nothing about the sides before both are read', () => {
    const says = saysSoFar(frame, network, place, steps, visit().slice(0, 6), STRICT);
    expect(says.comparison).to.equal(undefined);
    expect(says.missing.map((s) => s.key)).to.deep.equal(steps.slice(6).map((s) => s.key));
    const none = saysSoFar(frame, network, place, steps, [], STRICT);
    expect([none.identifications, none.rotations, none.missing.length]).to.deep.equal([[], [], steps.length]);
  });

  it('leaves out what was read too long before the last reading, and asks for it again', () => {
    const late = visit();
    const old = late.map(({ step, reading }, i) => (i === 3 ? typedAt(step, -60, phaseOf(step)) : { step, reading }));
    const says = saysSoFar(frame, network, place, steps, old, STRICT);
    expect(says.missing.map((s) => s.key)).to.deep.equal(['left 671/2']);
    expect(says.comparison).to.equal(undefined);
    expect(says.span).to.deep.equal([late[0]!.reading.takenAt, late[9]!.reading.takenAt]);
  });

  it('says no more than the tie check would: its proof, its tolerance, its time', () => {
    const sides = steps.filter((s) => s.part === 'left' || s.part === 'right');
    const read = (s: readonly Step[]) => s.map((step, i) => typedAt(step, i, phaseOf(step)));
    const said = (done: readonly Done[], over: Partial<typeof STRICT>) =>
      saysSoFar(frame, network, place, steps, done, { ...STRICT, ...over }).comparison;
    expect(said(read(sides), { requireProof: 'attested-time' })).to.include({ verdict: 'same-phase' });
    expect(said(read(sides), {})).to.include({ verdict: 'not-proven', proof: 'attested-time' });
    expect(said(read(steps), {})).to.include({ verdict: 'same-phase', proof: 'common-conductor' });
    expect(said(read(steps), { toleranceDeg: 0.1 })?.verdict).to.not.equal('same-phase');
    expect(said(read(steps), { windowS: 60 })).to.equal(undefined);
  });

  it('takes the strictest of several tie checks, and the common conductor without any', () => {
    expect(strictest([])).to.include({ requireProof: 'common-conductor' });
    const loose = { toleranceDeg: 20, windowS: 300, requireProof: 'attested-time' } as const;
    expect(strictest([loose])).to.deep.equal(loose);
    expect(strictest([loose, STRICT])).to.deep.equal({ ...STRICT, windowS: 300 });
  });
});
