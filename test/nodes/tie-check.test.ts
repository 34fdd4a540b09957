import { expect } from 'chai';
import { gapVoltage, problemsOf } from '../../lib';
import type { Comparison, Reading } from '../../lib/records';
import { at, feeder13, feeder13Config, readAt, referenceAt, solved } from '../kit/feeder13';
import { admitted, kept, newLedger } from '../kit/ledger-in-flow';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';

/** An invented tie between nodes 633 and 680 of the IEEE 13-node feeder. */
const LEFT = ['633/1', '633/2', '633/3'];
const RIGHT = ['680/1', '680/2', '680/3'];
const TIE = { id: 'TIE', left: LEFT, right: RIGHT };

describe('the node tie check', () => {
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });
  const flow = (over: object = {}, point: object = {}, ledger?: FlowNode) => [
    ...feeder13Config(feeder13({ openPoints: [{ ...TIE, ...point }] })),
    ...(ledger ? [ledger] : []),
    {
      id: 'n',
      type: 'phaseloom-tie-check',
      frame: 'frame',
      network: 'network',
      ...(ledger ? { ledger: 'ledger' } : {}),
      ...over,
      wires: [['p']],
    },
    rig.probe('p'),
  ];
  const deploy = (...args: Parameters<typeof flow>) => rig.deploy(flow(...args));
  const found = () => rig.got('p').map((m) => m.payload as Comparison);
  const quiet = (ms = 150) => new Promise((r) => setTimeout(r, ms));
  const send = (...readings: readonly Reading[]) => {
    for (const payload of readings) rig.send('n', { payload });
  };
  interface Sides {
    right?: string;
    from?: number;
    against?: 'utc' | 'SUB';
    over?: object;
    by?: [string, string];
  }
  /** Both sides read one conductor after the other, left with one instrument and right with another. */
  const sides = ({ right = 'ABC', from = 0, against = 'SUB', over = {}, by = ['P', 'Q'] }: Sides = {}) => {
    const one = (terminal: string, k: number, really: string, id: string) =>
      readAt(terminal, {
        atUs: at(from + k),
        really: really as 'A',
        against,
        over: { sigmaDeg: 0.5, instrument: { id }, ...over },
      });
    return [
      ...LEFT.map((t, k) => one(t, k, 'ABC'[k]!, by[0])),
      ...RIGHT.map((t, k) => one(t, 3 + k, right[k]!, by[1])),
    ];
  };
  const shown = (c: Comparison) => [c.verdict, c.landing, ...c.reasons.map((r) => r.code)];

  it('says same phase where OpenDSS has the two nodes in phase, with their angle and voltage across the gap', async () => {
    await deploy();
    send(...sides());
    const { payload } = await rig.next('p');
    expect(shown(payload)).to.deep.equal(['same-phase', 'straight']);
    expect(problemsOf('comparison', payload)).to.deep.equal([]);
    for (const [k, pair] of payload.pairs.entries()) {
      const [l, r] = [solved.get(`633/${'ABC'[k]}`)!, solved.get(`680/${'ABC'[k]}`)!];
      expect(pair.differenceDeg).to.be.closeTo(l.angleDeg - r.angleDeg, 1e-9);
      expect(pair.gapV).to.be.closeTo(gapVoltage(l.voltageV, r.voltageV, l.angleDeg - r.angleDeg, 0, 0).gapV, 1e-6);
    }
    expect(payload.proof).to.equal('attested-time');
    expect(payload.caution).to.match(/permits nothing/);
  });

  const landings = [
    ['BCA', 'rolled', [0, 1, 2].map((k) => [LEFT[k], RIGHT[(k + 2) % 3]])],
    ['CAB', 'rolled', [0, 1, 2].map((k) => [LEFT[k], RIGHT[(k + 1) % 3]])],
    [
      'ACB',
      'swapped',
      [
        [LEFT[0], RIGHT[0]],
        [LEFT[1], RIGHT[2]],
        [LEFT[2], RIGHT[1]],
      ],
    ],
    [
      'CBA',
      'swapped',
      [
        [LEFT[0], RIGHT[2]],
        [LEFT[1], RIGHT[1]],
        [LEFT[2], RIGHT[0]],
      ],
    ],
    [
      'BAC',
      'swapped',
      [
        [LEFT[0], RIGHT[1]],
        [LEFT[1], RIGHT[0]],
        [LEFT[2], RIGHT[2]],
      ],
    ],
  ] as const;
  for (const [right, landing, belongs] of landings) {
    it(`${right} against ABC: not the same phase, ${landing}, and which conductor belongs where`, async () => {
      await deploy();
      send(...sides({ right }));
      const { payload } = await rig.next('p');
      expect([payload.verdict, payload.landing]).to.deep.equal(['not-the-same-phase', landing]);
      expect(payload.belongs.map((b: { left: string; right: string }) => [b.left, b.right])).to.deep.equal(belongs);
    });
  }

  it('comes when the last terminal is read, in whatever order, as the same record, and not again for the same readings', async () => {
    const all = sides();
    const ids = new Set<string>();
    for (const order of [all, [...all].reverse(), [all[3], all[0], all[5], all[1], all[4], all[2]] as Reading[]]) {
      await deploy();
      send(...order, ...order);
      ids.add((await rig.next('p')).payload.id);
      await quiet(50);
      expect(rig.got('p')).to.have.length(1);
    }
    expect(ids.size).to.equal(1);
  });

  it('wants both sides within the window', async () => {
    await deploy({ windowS: 60 });
    const [left, right] = [sides().slice(0, 3), sides({ from: 100 }).slice(3)];
    send(...left, ...right);
    await quiet();
    expect(found()).to.deep.equal([]);
    send(...sides({ from: 110 }).slice(0, 3));
    expect((await rig.next('p')).payload.verdict).to.equal('same-phase');
  });

  it('takes the tolerance of the open point before its own', async () => {
    await deploy({ toleranceDeg: 20 }, { toleranceDeg: 1 });
    send(...sides());
    const { payload } = await rig.next('p');
    expect([payload.toleranceDeg, payload.verdict]).to.deep.equal([1, 'not-proven']);
    await deploy({ toleranceDeg: 20 });
    send(...sides());
    expect((await rig.next('p')).payload.toleranceDeg).to.equal(20);
  });

  it('without known clocks proves nothing and says what would settle it', async () => {
    await deploy();
    send(...sides({ over: { clock: { source: 'unknown' } } }));
    const { payload } = await rig.next('p');
    expect(payload.verdict).to.equal('not-proven');
    expect(payload.reasons.map((r: { code: string }) => r.code)).to.include('time-quality-unknown');
    for (const reason of payload.reasons) expect(reason.settle).to.be.a('string');
  });

  it('shows no voltage, no same phase', async () => {
    await deploy();
    send(...sides({ over: { voltageV: undefined, voltageIs: undefined } }));
    expect(shown((await rig.next('p')).payload)).to.include('live-not-shown');
  });

  it('holds readings against UTC to the stream of the reference', async () => {
    await deploy({ waitS: 0.05 });
    send(...Array.from({ length: 40 }, (_, k) => referenceAt(at(k / 5 - 0.5))));
    send(...sides({ against: 'utc' }));
    expect(shown((await rig.next('p')).payload)).to.deep.equal(['same-phase', 'straight']);
  });

  describe('with a common conductor to prove the clocks', () => {
    const common = (id: string, seconds: number, turn = 0) => {
      const reading = readAt('632/1', { atUs: at(seconds), over: { instrument: { id }, sigmaDeg: 0.5 } });
      return turn === 0
        ? reading
        : readAt('632/1', {
            atUs: at(seconds),
            over: { instrument: { id }, sigmaDeg: 0.5, angleDeg: reading.angleDeg! + turn },
          });
    };
    const point = { proofTerminal: '632/1' };
    const settings = { requireProof: 'common-conductor' };

    it('is not proven before the second visit, and then is', async () => {
      await deploy(settings, point);
      send(common('P', -10), common('Q', -9), ...sides());
      expect(shown((await rig.next('p')).payload)).to.deep.equal(['not-proven', null, 'common-time-unproven']);
      send(common('P', 20), common('Q', 21));
      const { payload } = await rig.next('p');
      expect([payload.verdict, payload.proof, payload.from.length]).to.deep.equal([
        'same-phase',
        'common-conductor',
        10,
      ]);
      await quiet();
      expect(rig.got('p')).to.have.length(2);
    });

    it('is the same record when the proof comes before the readings', async () => {
      const proof = [common('P', -10), common('Q', -9), common('P', 20), common('Q', 21)];
      await deploy(settings, point);
      send(...proof.slice(0, 2), ...sides(), ...proof.slice(2));
      await rig.until('p', 2);
      const { id } = found()[1]!;
      await deploy(settings, point);
      send(...proof, ...sides());
      await rig.until('p', 1);
      await quiet();
      expect(found().at(-1)!.id).to.equal(id);
    });

    it('finds the third of a cycle that an unknowing clock is off: a rolled landing does not come out as the same phase', async () => {
      // 5.56 ms at 60 Hz are 120 degrees: the right side is rolled, and its clock hides it.
      const hidden = sides({ right: 'BCA' }).map((r, i) =>
        i < 3
          ? r
          : readAt(r.terminal, {
              atUs: Date.parse(r.takenAt) * 1000,
              over: { angleDeg: ((r.angleDeg! + 120 + 540) % 360) - 180, sigmaDeg: 0.5, instrument: { id: 'Q' } },
            }),
      );
      await deploy({}, point);
      send(...hidden);
      expect((await rig.next('p')).payload.verdict).to.equal('same-phase');
      await deploy({}, point);
      send(common('P', -10), common('Q', -9, 120), ...hidden, common('P', 20), common('Q', 21, 120));
      await rig.until('p', 2);
      expect(found()[1]!.verdict).to.equal('not-proven');
      expect(found()[1]!.reasons.map((r) => r.code)).to.include('common-conductor-disagrees');
    });
  });

  it('keeps its findings, and after a restart completes what began before it', async () => {
    const ledger = newLedger();
    await deploy({}, {}, ledger);
    const messages = await admitted(rig, ...sides());
    for (const m of messages.slice(0, 4)) rig.send('n', m);
    await quiet();
    await deploy({}, {}, ledger);
    for (const m of messages.slice(4)) rig.send('n', m);
    const { payload } = await rig.next('p');
    expect(shown(payload)).to.deep.equal(['same-phase', 'straight']);
    expect(await kept<Comparison>(rig, 'comparison')).to.deep.equal([payload]);
  });

  it('says what it lacks', async () => {
    await deploy({ network: '' });
    expect(rig.status('n')).to.deep.equal({ fill: 'red', shape: 'ring', text: 'check the settings' });
  });
});
