import { expect } from 'chai';
import fc from 'fast-check';
import {
  type AlertEvent,
  type AlertStep,
  applyAction,
  applyCondition,
  applyDue,
  type Condition,
  dueAtUs,
  isQuiet,
  nextState,
  type OperatorAction,
} from '../../lib';
import { formatInstant } from '../../lib/instant';
import type { Alert, AlertState } from '../../lib/records';
import { problemsOf } from '../../lib/validate';

const T0 = 1.7e15;
const second = (n: number) => formatInstant(T0 + n * 1e6);
const us = (n: number) => T0 + n * 1e6;
const condition = (active: boolean, at = 1, says = 'rolled', more: Partial<Condition> = {}): Condition => ({
  key: 'tie-mismatch:P',
  category: 'tie-mismatch',
  subject: 'P',
  priority: 'high',
  active,
  says,
  text: `${says}, 120 degrees apart`,
  caution: 'c',
  from: [`cm-${at}`],
  evidenceAt: second(at),
  ...more,
});
const alertOf = (step: AlertStep): Alert => {
  if (step.outcome !== 'changed') throw new Error(`${step.outcome}: nothing changed`);
  return step.alert;
};
const RAISED = alertOf(applyCondition(undefined, condition(true), T0));

/** An alert in a state, as the ledger could hold it. */
const alertIn = (state: AlertState, active: boolean): Alert => ({
  ...RAISED,
  state,
  active,
  revision: 7,
  ...(state === 'shelved' ? { shelvedUntil: second(4) } : {}),
});

const EVENTS: Record<AlertEvent, (before: Alert) => AlertStep> = {
  raise: (b) => applyCondition(b, condition(true, 5, 'swapped'), us(5)),
  repeat: (b) => applyCondition(b, condition(true, 5), us(5)),
  return: (b) => applyCondition(b, condition(false, 5), us(5)),
  acknowledge: (b) => applyAction(b, { action: 'acknowledge', by: 'op' }, us(5)),
  shelve: (b) => applyAction(b, { action: 'shelve', by: 'op', comment: 'works', untilUs: us(60) }, us(5)),
  unshelve: (b) => applyAction(b, { action: 'unshelve', by: 'op' }, us(5)),
  'shelf-end': (b) => applyDue(b, us(5)),
  suppress: (b) => applyAction(b, { action: 'suppress', by: 'op', comment: 'planned' }, us(5)),
  unsuppress: (b) => applyAction(b, { action: 'unsuppress', by: 'op' }, us(5)),
  'out-of-service': (b) => applyAction(b, { action: 'out-of-service', by: 'op', comment: 'maintenance' }, us(5)),
  'in-service': (b) => applyAction(b, { action: 'in-service', by: 'op' }, us(5)),
  comment: (b) => applyAction(b, { action: 'comment', by: 'op', comment: 'seen' }, us(5)),
};

/**
 * The whole table. Source: state transition diagram of IEC 62682 / ANSI/ISA-18.2, from memory: A normal, B unacknowledged, C acknowledged,
 * D returned to normal unacknowledged, G shelved, H suppressed by design, I out of service. '-': refused with a reason, '=': nothing happens.
 * Where the condition is not present "repeat" is a raise.
 */
const STATE = {
  A: 'normal',
  B: 'unacknowledged',
  C: 'acknowledged',
  D: 'returned-unacknowledged',
  G: 'shelved',
  H: 'suppressed-by-design',
  I: 'out-of-service',
} as const;
const TABLE = `
  state present | raise repeat return | acknowledge shelve unshelve shelf-end suppress unsuppress out-of-service in-service comment
  A     no      | B     B      =      | -           G      -        =         H        -          I              -          A
  B     yes     | B     B      D      | C           G      -        =         H        -          I              -          B
  C     yes     | B     C      A      | -           G      -        =         H        -          I              -          C
  D     no      | B     B      =      | A           G      -        =         H        -          I              -          D
  G     yes     | G     G      G      | -           G      B        B         -        -          I              -          G
  G     no      | G     G      =      | -           G      A        A         -        -          I              -          G
  H     yes     | H     H      H      | -           -      -        =         -        B          I              -          H
  H     no      | H     H      =      | -           -      -        =         -        A          I              -          H
  I     yes     | I     I      I      | -           -      -        =         -        -          -              B          I
  I     no      | I     I      =      | -           -      -        =         -        -          -              A          I`;

describe('the states of an alert, each with each event (IEC 62682 / ISA-18.2, from memory)', () => {
  const [head, ...rows] = TABLE.trim().split('\n');
  const events = head!.trim().replaceAll('|', ' ').split(/\s+/).slice(2) as AlertEvent[];
  it('has every event and every state', () => {
    expect([...events].sort()).to.deep.equal(Object.keys(EVENTS).sort());
    expect(new Set(rows.map((row) => row.trim()[0]))).to.deep.equal(new Set(Object.keys(STATE)));
  });
  for (const row of rows) {
    const [letter, present, ...after] = row.trim().replaceAll('|', ' ').split(/\s+/);
    const state = STATE[letter as 'A'] as AlertState;
    events.forEach((event, i) => {
      it(`${state}, condition ${present === 'yes' ? 'present' : 'gone'}: ${event} -> ${after[i]}`, () => {
        const before = alertIn(state, present === 'yes');
        const step = EVENTS[event](before);
        if (after[i] === '-') {
          expect(step).to.include({ outcome: 'refused', code: 'state-does-not-allow' });
          expect((step as { why: string }).why).to.contain(state);
          expect(nextState(state, event, before.active)).to.equal(undefined);
        } else if (after[i] === '=') expect(step).to.deep.equal({ outcome: 'unchanged' });
        else {
          const alert = alertOf(step);
          expect(alert.state).to.equal(STATE[after[i] as 'A']);
          expect([alert.revision, alert.at]).to.deep.equal([8, second(5)]);
          expect(problemsOf('alert', alert)).to.deep.equal([]);
        }
      });
    });
  }
});

describe('actions', () => {
  it('want a name, words where somebody is no longer called, and a shelf that ends ahead', () => {
    const codes = (
      [
        { action: 'acknowledge', by: ' ' },
        { action: 'shelve', by: 'op', comment: '', untilUs: us(1) },
        { action: 'shelve', by: 'op', comment: 'x', untilUs: T0 },
        { action: 'comment', by: 'op', comment: ' ' },
      ] as OperatorAction[]
    ).map((act) => applyAction(alertIn('unacknowledged', true), act, T0));
    expect(codes.map((s) => (s.outcome === 'refused' ? s.code : s.outcome))).to.deep.equal([
      'by-missing',
      'reason-missing',
      'until-in-past',
      'reason-missing',
    ]);
  });
  it('stand in the record of their own transition only', () => {
    const seen = alertOf(EVENTS.acknowledge(alertIn('unacknowledged', true)));
    const again = alertOf(applyCondition(seen, condition(true, 9, 'swapped'), us(9)));
    expect([seen.by, again.by, again.state]).to.deep.equal(['op', undefined, 'unacknowledged']);
  });
});

describe('evidence', () => {
  it('older than what the alert rests on changes nothing, whatever way its instant is written', () => {
    const raised = alertOf(
      applyCondition(undefined, condition(true, 1, 'x', { evidenceAt: '2026-05-04T10:15:30.25Z' }), T0),
    );
    for (const older of ['2026-05-04T10:15:30Z', '2026-05-04T12:15:30+02:00', '2026-05-04T10:15:30.249999Z'])
      expect(applyCondition(raised, condition(false, 1, 'y', { evidenceAt: older }), T0).outcome, older).to.equal(
        'unchanged',
      );
    const later = condition(false, 1, 'y', { evidenceAt: '2026-05-04T12:15:30.26+02:00' });
    expect(alertOf(applyCondition(raised, later, T0)).transition).to.equal('returned');
  });
  it('that says the same again moves what the alert rests on and calls nobody', () => {
    const again = alertOf(applyCondition(alertIn('acknowledged', true), condition(true, 9), us(9)));
    expect([again.transition, again.evidenceAt, again.from[0], again.count]).to.deep.equal([
      'repeated',
      second(9),
      'cm-9',
      1,
    ]);
    expect(isQuiet(again)).to.equal(true);
    expect(applyCondition(again, condition(false, 5), us(10)).outcome, 'older than the repeat').to.equal('unchanged');
  });
  it('counts how often it was raised since it was last normal', () => {
    let alert = RAISED;
    const counts = [2, 3, 4, 5].map((at) => {
      alert = alertOf(applyCondition(alert, condition(at % 2 === 1, at), us(at)));
      return alert.count;
    });
    expect(counts).to.deep.equal([1, 2, 2, 3]);
    const normal = alertOf(
      applyAction(
        alertOf(applyCondition(alert, condition(false, 6), us(6))),
        { action: 'acknowledge', by: 'op' },
        us(6),
      ),
    );
    expect(alertOf(applyCondition(normal, condition(true, 7), us(7))).count).to.equal(1);
  });
  it('tells on the return what is proven now and what was said before', () => {
    const text = alertOf(applyCondition(RAISED, condition(false, 5, 'same phase'), us(5))).text;
    expect(text).to.equal('same phase, 120 degrees apart. Before: rolled, 120 degrees apart');
  });
});

describe('delays (on-delay and off-delay of IEC 62682 / ISA-18.2, from memory)', () => {
  const delays = { onS: 5, offS: 10 };
  const take = (before: Alert | undefined, c: Condition, at: number) => applyCondition(before, c, us(at), delays);

  it('raise what stood for the on-delay and nothing else', () => {
    const waiting = alertOf(take(undefined, condition(true, 0), 0));
    expect([waiting.state, waiting.transition, waiting.active, isQuiet(waiting)]).to.deep.equal([
      'normal',
      'delayed',
      false,
      true,
    ]);
    expect(problemsOf('alert', waiting)).to.deep.equal([]);
    expect(dueAtUs(waiting)).to.equal(us(5));
    expect(applyDue(waiting, us(4.9)).outcome).to.equal('unchanged');
    const due = alertOf(applyDue(waiting, us(5)));
    expect([due.state, due.transition, due.since, due.pending]).to.deep.equal([
      'unacknowledged',
      'raised',
      second(0),
      undefined,
    ]);
    const gone = alertOf(take(waiting, condition(false, 2), 2));
    expect([gone.state, gone.transition, isQuiet(gone), dueAtUs(gone)]).to.deep.equal([
      'normal',
      'not-raised',
      true,
      undefined,
    ]);
  });
  it('let evidence that spans the delay hold at once: readings far apart do not flap', () => {
    expect(alertOf(take(alertOf(take(undefined, condition(true, 0), 0)), condition(true, 5), 0.1)).transition).to.equal(
      'raised',
    );
    expect(alertOf(take(RAISED, condition(false, 11), 0.1)).transition).to.equal('returned');
  });
  it('keep an alert over a contrary statement that does not last', () => {
    const waiting = alertOf(take(RAISED, condition(false, 3), 3));
    expect([waiting.state, waiting.active, dueAtUs(waiting)]).to.deep.equal(['unacknowledged', true, us(11)]);
    const back = alertOf(take(waiting, condition(true, 4), 4));
    expect([back.transition, dueAtUs(back)]).to.deep.equal(['repeated', undefined]);
    const due = alertOf(applyDue(waiting, us(11)));
    expect([due.transition, due.since, due.from]).to.deep.equal(['returned', second(3), ['cm-3']]);
  });
  it('hold back another statement as well: rolled and swapped by turns do not call each time', () => {
    const waiting = alertOf(take({ ...RAISED, state: 'acknowledged' }, condition(true, 3, 'swapped'), 3));
    expect([waiting.state, waiting.says]).to.deep.equal(['acknowledged', 'rolled']);
    const third = alertOf(take(waiting, condition(true, 5, 'other'), 5));
    expect(dueAtUs(third), 'does not begin anew').to.equal(us(11));
    const due = alertOf(applyDue(third, us(11)));
    expect([due.transition, due.state, due.says]).to.deep.equal(['changed', 'unacknowledged', 'other']);
  });
  it('end a shelf at its time, after the condition is known', () => {
    const shelved: Alert = { ...alertIn('shelved', true), shelvedUntil: second(60) };
    expect(dueAtUs(shelved)).to.equal(us(60));
    expect(applyDue(shelved, us(59)).outcome).to.equal('unchanged');
    const ended = alertOf(applyDue(shelved, us(60)));
    expect([ended.state, ended.transition, ended.shelvedUntil]).to.deep.equal([
      'unacknowledged',
      'shelf-ended',
      undefined,
    ]);
    const gone = alertOf(applyDue(alertOf(take(shelved, condition(false, 3), 55)), us(70)));
    expect([gone.state, gone.active, isQuiet(gone)]).to.deep.equal(['shelved', false, true]);
    expect(alertOf(applyDue(gone, us(70))).state).to.equal('normal');
  });
  it('end by itself what ends when it is not said again', () => {
    const c = (at: number) => condition(true, at, 'self-test', { endsAfterS: 900 });
    const once = alertOf(applyCondition(undefined, c(0), us(0)));
    const twice = alertOf(applyCondition(once, c(60), us(60)));
    expect([dueAtUs(once), dueAtUs(twice)]).to.deep.equal([us(900), us(960)]);
    const over = alertOf(applyDue(twice, us(960)));
    expect([over.transition, over.state, dueAtUs(over)]).to.deep.equal([
      'returned',
      'returned-unacknowledged',
      undefined,
    ]);
    expect(over.text).to.contain('not said again for 15 minutes');
    const delayed = alertOf(take(undefined, c(0), 0));
    expect(dueAtUs(alertOf(applyDue(delayed, us(5)))), 'after an on-delay too').to.equal(us(905));
  });
  it('never let an alert call more often than once per on-delay, however the readings jump (property, 200 cases)', () => {
    fc.assert(
      fc.property(fc.array(fc.constantFrom('rolled', 'swapped', 'same'), { minLength: 5, maxLength: 60 }), (said) => {
        let alert: Alert = RAISED;
        const calls: number[] = [];
        const note = (step: AlertStep, at: number) => {
          if (step.outcome !== 'changed') return;
          alert = step.alert;
          if (!isQuiet(alert) && alert.active) calls.push(at);
        };
        said.forEach((says, i) => {
          const at = 2 + i;
          note(applyDue(alert, us(at)), at);
          note(take(alert, condition(says !== 'same', at, says), at), at);
        });
        for (const [i, at] of calls.entries()) if (i > 0) expect(at - calls[i - 1]!).to.be.at.least(delays.onS);
      }),
      { seed: 11, numRuns: 200 },
    );
  });
  it('end with what was said last when nothing more is said (property, 200 cases)', () => {
    fc.assert(
      fc.property(fc.array(fc.boolean(), { minLength: 1, maxLength: 30 }), (said) => {
        let alert: Alert | undefined;
        const note = (step: AlertStep) => {
          if (step.outcome === 'changed') alert = step.alert;
        };
        for (const [i, active] of said.entries()) note(take(alert, condition(active, i), i));
        for (let i = 0; i < 5; i++) if (alert) note(applyDue(alert, us(1000)));
        expect(alert?.active ?? false).to.equal(said.at(-1));
      }),
      { seed: 12, numRuns: 200 },
    );
  });
});
