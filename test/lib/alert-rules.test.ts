import { expect } from 'chai';
import {
  allowance,
  applyCondition,
  conditionsOf,
  floodCondition,
  kinds,
  makeFrame,
  Screen,
  turnedAside,
} from '../../lib';
import type { Alert, Comparison, Finding, Identification, Reading, Rejection, Rotation } from '../../lib/records';
import { problemsOf } from '../../lib/validate';

/** The rules are this project's own; what they are held against is the record contract and the words of the trade. */
const AT = '2026-05-04T10:15:30.250000Z';
const FRAME = { id: 'valley', revision: 'r1' };

const comparison = (more: Partial<Comparison> = {}): Comparison => ({
  kind: 'comparison',
  id: 'cm-1',
  at: AT,
  from: ['rd-1'],
  frame: FRAME,
  openPoint: 'tie 7',
  verdict: 'not-the-same-phase',
  landing: 'swapped',
  belongs: [
    { left: 'L/1', right: 'R/1', landedOn: 'R/1' },
    { left: 'L/2', right: 'R/3', landedOn: 'R/2' },
    { left: 'L/3', right: 'R/2', landedOn: 'R/3' },
  ],
  pairs: [
    { left: 'L/1', right: 'R/1', differenceDeg: 0.4, sdDeg: 1, gapV: null, gapUpperV: null },
    { left: 'L/2', right: 'R/2', differenceDeg: 120.3, sdDeg: 1, gapV: null, gapUpperV: null },
    { left: 'L/3', right: 'R/3', differenceDeg: -119.6, sdDeg: 1, gapV: null, gapUpperV: null },
  ],
  probability: 1,
  standingAngleDeg: null,
  standingAngleUpperDeg: null,
  toleranceDeg: 10,
  proof: 'attested-time',
  reasons: [{ code: 'landing-swapped', why: 'L/2 faces R/2 and belongs with R/3' }],
  ...more,
});
const identification = (more: Partial<Identification> = {}): Identification => ({
  kind: 'identification',
  id: 'pi-1',
  at: AT,
  from: ['rd-1'],
  terminal: 'S1/2',
  verdict: 'confirmed',
  phase: 'B',
  connection: 'phase-neutral',
  slot: 8,
  probability: 0.9996,
  candidates: [],
  angleDeg: -118,
  expectedDeg: -120,
  residualDeg: 2,
  sdDeg: 1.5,
  reference: 'station A',
  recordedPhase: 'C',
  agreesWithRecord: false,
  reasons: [],
  ...more,
});
const rotation = (more: Partial<Rotation> = {}): Rotation => ({
  kind: 'rotation',
  id: 'ro-1',
  at: AT,
  from: ['rd-1', 'rd-2', 'rd-3'],
  site: 'S1',
  terminals: ['S1/3', 'S1/1', 'S1/2'],
  viewing: 'left-to-right',
  verdict: 'decided',
  sequence: 'ACB',
  turns: 'counter-clockwise',
  recordedSequence: 'ABC',
  agreesWithRecord: false,
  anglesDeg: [0, 120, -120],
  probability: 1,
  components: null,
  unbalance: null,
  reasons: [],
  ...more,
});
const rejection = (code: string, excerpt: string, stage: Rejection['stage'] = 'screen'): Rejection => ({
  kind: 'rejection',
  id: 'rj-1',
  at: AT,
  from: ['rd-1'],
  source: 'readings/crew-4',
  terminal: 'S1/1',
  stage,
  problems: [{ at: '/instrument/selfTest', code, what: 'instrument P-07 failed its self-test', expected: 'a pass' }],
  bytes: excerpt.length,
  excerpt,
});
const reading = (instrument: string) => JSON.stringify({ terminal: 'S1/1', instrument: { id: instrument } });

const brief = (record: Finding | Rejection) => conditionsOf(record).map((c) => [c.key, c.priority, c.active] as const);

describe('what raises an alert, what clears it, and what leaves it as it is', () => {
  const cases: [string, Finding | Rejection, readonly (readonly [string, string, boolean])[]][] = [
    ['not the same phase', comparison(), [['tie-mismatch:tie 7', 'high', true]]],
    ['same phase', comparison({ verdict: 'same-phase' }), [['tie-mismatch:tie 7', 'high', false]]],
    ['not proven', comparison({ verdict: 'not-proven' }), []],
    [
      'another phase than recorded',
      identification(),
      [
        ['reference-doubt:station A', 'medium', false],
        ['record-conflict:S1/2', 'medium', true],
      ],
    ],
    [
      'identified as recorded, without a reference station',
      identification({ verdict: 'identified', reference: null, recordedPhase: 'B', agreesWithRecord: true }),
      [['record-conflict:S1/2', 'medium', false]],
    ],
    [
      'nothing recorded',
      identification({ recordedPhase: null, agreesWithRecord: null }),
      [['reference-doubt:station A', 'medium', false]],
    ],
    ['identification not proven', identification({ verdict: 'not-proven', phase: null, agreesWithRecord: null }), []],
    [
      'reference in doubt: neither the record nor the conductor is blamed',
      identification({
        verdict: 'not-proven',
        reasons: [{ code: 'reference-stepped', why: 'it stepped by 30 degrees' }],
      }),
      [['reference-doubt:station A', 'medium', true]],
    ],
    ['turns otherwise than recorded', rotation(), [['rotation-conflict:S1/1+2+3', 'high', true]]],
    ['turns as recorded', rotation({ agreesWithRecord: true }), [['rotation-conflict:S1/1+2+3', 'high', false]]],
    ['rotation not proven', rotation({ verdict: 'not-proven' }), []],
    ['rotation of which nothing is recorded', rotation({ agreesWithRecord: null }), []],
    [
      'self-test failed: the instrument is named, not the place',
      rejection('self-test-failed', reading('P-07')),
      [['instrument-doubt:P-07', 'low', true]],
    ],
    [
      'self-test failed, text cut short',
      rejection('self-test-failed', '{"terminal":"S1/1","instr'),
      [['instrument-doubt:S1/1', 'low', true]],
    ],
    ['turned aside for another reason', rejection('stale', reading('P-07')), []],
    ['refused at the front door', rejection('self-test-failed', reading('P-07'), 'front-door'), []],
  ];
  for (const [name, record, expected] of cases) {
    it(name, () => {
      expect(problemsOf(record.kind, record)).to.deep.equal([]);
      expect(brief(record)).to.deep.equal(expected);
    });
  }

  it('gives each set of three at a site its own alert: one side of a switch does not clear the other', () => {
    const [one, two] = [rotation(), rotation({ terminals: ['S1/4', 'S1/5', 'S1/6'], agreesWithRecord: true })];
    expect(conditionsOf(one)[0]!.key).not.to.equal(conditionsOf(two)[0]!.key);
  });
  it('keeps keys within the contract for the longest names', () => {
    const [long] = conditionsOf(comparison({ openPoint: 'x'.repeat(200) }));
    const step = applyCondition(undefined, long!, 1.7e15);
    expect(step.outcome === 'changed' && problemsOf('alert', step.alert)).to.deep.equal([]);
  });
});

describe('the words of an alert', () => {
  it('say what, where, why, which conductor belongs where, and what it does not permit', () => {
    const [c] = conditionsOf(comparison());
    expect(c!.text).to.equal(
      'tie 7: not the same phase, swapped: L/2 faces R/2 and belongs with R/3; L/3 faces R/3 and belongs with R/2. ' +
        'Facing pairs stand 0, 120, -120 degrees apart, 10 are allowed. Proof of time: attested time',
    );
    expect(c!.caution).to.match(/no test for absence of voltage and gives no permission to switch/);
    expect([c!.frame, c!.from, c!.evidenceAt]).to.deep.equal([FRAME, ['cm-1'], AT]);
  });
  it('make the same statement of two readings that differ in their figures', () => {
    const other = comparison({
      pairs: comparison().pairs.map((p) => ({ ...p, differenceDeg: p.differenceDeg + 1.2 })),
      reasons: [...comparison().reasons, { code: 'magnitude-unusable', why: 'clip' }],
    });
    expect(conditionsOf(other)[0]!.says).to.equal(conditionsOf(comparison())[0]!.says);
    expect(conditionsOf(other)[0]!.text).not.to.equal(conditionsOf(comparison())[0]!.text);
  });
  it('name the angle where no conductor belongs elsewhere', () => {
    const reasons = [
      { code: 'standing-angle-over-tolerance', why: 'the pairs stand 14.0 +/- 2.0 degrees apart, 10 are allowed' },
    ];
    const [c] = conditionsOf(comparison({ landing: 'straight', belongs: [], reasons, proof: null, pairs: [] }));
    expect(c!.text).to.equal('tie 7: not the same phase: the pairs stand 14.0 +/- 2.0 degrees apart, 10 are allowed');
  });
  it('name an instrument once, whatever the screen holds against it', () => {
    const textOf = (calibrationDays: number | undefined, instrument: object, cut?: number) => {
      const read: Reading = {
        kind: 'reading',
        id: 'rd-1',
        terminal: 'S1/1',
        takenAt: AT,
        angleDeg: 1,
        against: 'utc',
        instrument: { id: 'P-11', ...instrument },
      };
      const settings = { frame: makeFrame(), ...(calibrationDays === undefined ? {} : { calibrationDays }) };
      const aside = turnedAside(read, new Screen().judge(read, settings, 'new'), 'readings/crew-4');
      const [c, ...more] = conditionsOf({ ...aside, excerpt: aside.excerpt.slice(0, cut) });
      expect(more).to.deep.equal([]);
      return c!.text;
    };
    const old = 'was calibrated on 2025-01-01, 488 days before the reading; 365 are allowed';
    expect(textOf(undefined, { selfTest: 'fail', batteryPct: 2 })).to.equal(
      'instrument P-11 failed its self-test. Its readings are turned aside',
    );
    expect(textOf(365, { calibratedOn: '2025-01-01' })).to.equal(
      `instrument P-11 ${old}. Its readings are turned aside`,
    );
    expect(textOf(365, { selfTest: 'fail', calibratedOn: '2025-01-01' })).to.equal(
      `instrument P-11 failed its self-test, and it ${old}. Its readings are turned aside`,
    );
    expect(textOf(undefined, { selfTest: 'fail' }, 50)).to.equal(
      'S1/1: instrument P-11 failed its self-test. Its readings are turned aside',
    );
  });
  it('are evidence words and carry a caution, whatever the finding', () => {
    for (const record of [
      comparison(),
      comparison({ verdict: 'same-phase' }),
      identification(),
      rotation(),
      rejection('self-test-failed', ''),
    ])
      for (const c of conditionsOf(record)) {
        expect(c.text).not.to.match(/\b(safe|dead|de-?energi[sz]ed|close the switch|no-?go|go)\b/i);
        expect(c.caution.length).to.be.greaterThan(0);
      }
  });
});

describe('a flood', () => {
  const held = Array.from(
    { length: 5 },
    (_, i) => ({ id: `al-${i}`, category: 'record-conflict', priority: 'medium' }) as Alert,
  );
  const notice = (n: number, most: number) => floodCondition('desk', held.slice(0, n), true, most, 1.7e15);

  it('lets so many go in any minute', () => {
    const sent: number[] = [];
    let nowUs = 1.7e15;
    for (let i = 0; i < 2000; i++, nowUs += 0.1e6) {
      if (allowance(sent, 10, nowUs).budget > 0) sent.push(nowUs);
    }
    expect(sent.length, '200 s at 10 a minute').to.equal(40);
    sent.forEach((at, i) => {
      const within = sent.filter((other) => other > at - 60e6 && other <= at).length;
      expect(within, `minute that ends with number ${i}`).to.be.at.most(10);
    });
    expect(allowance(sent, 10, sent.at(-1)!).againAtUs).to.equal(sent.at(-10)! + 60e6);
  });
  it('is told once, and again when twice as many are held', () => {
    const says = [1, 2, 3, 4, 5].map((n) => notice(n, n).says);
    expect(new Set(says).size).to.equal(3);
    expect(notice(2, 5).says, 'going down calls nobody').to.equal(notice(5, 5).says);
    expect(notice(0, 5).active).to.equal(false);
  });
  it('calls nobody when a worker says it that saw fewer held than another has said', () => {
    const said = notice(5, 5);
    expect(floodCondition('desk', held.slice(0, 2), true, 2, 1.7e15, said).says).to.equal(said.says);
    expect(floodCondition('desk', held, true, 9, 1.7e15, said).says).to.equal('at least 8 held back');
    const over = notice(0, 5);
    expect(floodCondition('desk', held.slice(0, 2), true, 2, 1.7e15, over).says, 'a new flood').to.equal(
      'at least 2 held back',
    );
  });
  it('says how many are held and of what kind, and that none is lost', () => {
    expect(notice(5, 5).text).to.equal(
      'desk: 5 alert messages are held back and come in their turn: 5 record-conflict (medium). All alerts are in the ledger',
    );
    expect(notice(5, 5).from).to.deep.equal(held.map((a) => a.id));
    expect(kinds([...held, { category: 'tie-mismatch', priority: 'high' }])).to.contain('1 tie-mismatch (high)');
    const step = applyCondition(undefined, notice(5, 5), 1.7e15);
    expect(step.outcome === 'changed' && problemsOf('alert', step.alert)).to.deep.equal([]);
  });
});
