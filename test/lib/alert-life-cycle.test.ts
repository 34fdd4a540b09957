import { expect } from 'chai';
import {
  applyAction,
  applyCondition,
  applyShelfEnd,
  type Condition,
  type OperatorAction,
} from '../../lib/alert-life-cycle';
import { conditionsOf } from '../../lib/alert-rules';
import { formatInstant } from '../../lib/instant';
import type { Alert, AlertState, Comparison, Identification } from '../../lib/records';
import { problemsOf } from '../../lib/validate';

const T0 = 1.7e15;
const second = (n: number) => formatInstant(T0 + n * 1e6);
const condition = (active: boolean, at = 1, text = 'left 1 faces right 2'): Condition => ({
  key: 'tie-mismatch:P',
  category: 'tie-mismatch',
  subject: 'P',
  priority: 'high',
  active,
  text,
  caution: 'c',
  from: [`cm-${at}`],
  evidenceAt: second(at),
});
const STATES: AlertState[] = [
  'normal',
  'unacknowledged',
  'acknowledged',
  'returned-unacknowledged',
  'shelved',
  'suppressed-by-design',
  'out-of-service',
];

function alertIn(state: AlertState, active: boolean): Alert {
  const step = applyCondition(undefined, condition(true), T0);
  if (step.outcome !== 'changed') throw new Error('not raised');
  return { ...step.alert, state, active, revision: 7, ...(state === 'shelved' ? { shelvedUntil: second(60) } : {}) };
}

const ACTS: Record<string, OperatorAction> = {
  acknowledge: { action: 'acknowledge', by: 'op' },
  shelve: { action: 'shelve', by: 'op', comment: 'works', untilUs: T0 + 1e9 },
  unshelve: { action: 'unshelve', by: 'op' },
  suppress: { action: 'suppress', by: 'op', comment: 'planned' },
  unsuppress: { action: 'unsuppress', by: 'op' },
  'out-of-service': { action: 'out-of-service', by: 'op', comment: 'maintenance' },
  'in-service': { action: 'in-service', by: 'op' },
};

/**
 * The whole table: state before, condition present or not, event, state after ('-': refused, '=': unchanged).
 * States of IEC 62682 / ISA-18.2; the transitions are from memory of the standard's state diagram.
 * Columns: comes, goes, acknowledge, shelve, unshelve, suppress, unsuppress, out-of-service, in-service
 */
const [N, U, A, R, S, D, O] = STATES as [
  AlertState,
  AlertState,
  AlertState,
  AlertState,
  AlertState,
  AlertState,
  AlertState,
];
const TABLE: [AlertState, boolean, (AlertState | '-' | '=')[]][] = [
  [N, false, [U, '=', '-', S, '-', D, '-', O, '-']],
  [U, true, ['=', R, A, S, '-', D, '-', O, '-']],
  [A, true, ['=', N, '-', S, '-', D, '-', O, '-']],
  [R, false, [U, '=', N, S, '-', D, '-', O, '-']],
  [S, true, ['=', S, '-', S, U, '-', '-', O, '-']],
  [S, false, [S, '=', '-', S, N, '-', '-', O, '-']],
  [D, true, ['=', D, '-', '-', '-', '-', U, O, '-']],
  [D, false, [D, '=', '-', '-', '-', '-', N, O, '-']],
  [O, true, ['=', O, '-', '-', '-', '-', '-', '-', U]],
  [O, false, [O, '=', '-', '-', '-', '-', '-', '-', N]],
];

describe('the life of an alert (states of IEC 62682 / ISA-18.2, transitions from memory)', () => {
  for (const [state, active, after] of TABLE) {
    const events = ['comes', 'goes', ...Object.keys(ACTS)];
    events.forEach((event, i) => {
      it(`${state}, ${active ? 'condition present' : 'condition gone'}: ${event} -> ${after[i]}`, () => {
        const before = alertIn(state, active);
        const now = T0 + 5e6;
        const step =
          event === 'comes' || event === 'goes'
            ? applyCondition(before, condition(event === 'comes', 5), now)
            : applyAction(before, ACTS[event]!, now);
        const got = step.outcome === 'changed' ? step.alert.state : step.outcome === 'refused' ? '-' : '=';
        expect(got).to.equal(after[i]);
        if (step.outcome === 'changed') {
          expect(step.alert.revision).to.equal(8);
          expect(problemsOf('alert', step.alert)).to.deep.equal([]);
        }
      });
    });
  }

  it('calls again when an acknowledged condition says something new', () => {
    const step = applyCondition(alertIn('acknowledged', true), condition(true, 5, 'left 1 faces right 3'), T0);
    expect(step.outcome === 'changed' && step.alert.state).to.equal('unacknowledged');
  });
  it('is not moved by evidence older than what it rests on', () => {
    expect(applyCondition(alertIn('unacknowledged', true), condition(false, 0), T0).outcome).to.equal('unchanged');
  });
  it('ends a shelf at its time and not before', () => {
    const shelved = alertIn('shelved', true);
    expect(applyShelfEnd(shelved, T0 + 59e6).outcome).to.equal('unchanged');
    const ended = applyShelfEnd(shelved, T0 + 60e6);
    expect(ended.outcome === 'changed' && [ended.alert.state, ended.alert.shelvedUntil]).to.deep.equal([
      'unacknowledged',
      undefined,
    ]);
  });
  it('wants a name, and a reason where somebody is no longer called', () => {
    const before = alertIn('unacknowledged', true);
    const codes = [
      applyAction(before, { action: 'acknowledge', by: ' ' }, T0),
      applyAction(before, { action: 'shelve', by: 'op', comment: '', untilUs: T0 + 1 }, T0),
      applyAction(before, { action: 'shelve', by: 'op', comment: 'x', untilUs: T0 }, T0),
    ].map((s) => (s.outcome === 'refused' ? s.code : s.outcome));
    expect(codes).to.deep.equal(['by-missing', 'reason-missing', 'until-in-past']);
  });
});

describe('what raises and what clears an alert', () => {
  const comparison = (verdict: Comparison['verdict']) =>
    ({
      kind: 'comparison',
      id: 'cm-1',
      at: second(0),
      from: [],
      openPoint: 'P',
      verdict,
      landing: null,
      belongs: [],
      pairs: [],
      probability: 1,
      standingAngleDeg: 0,
      standingAngleUpperDeg: 1,
      toleranceDeg: 10,
      proof: null,
      reasons: [],
    }) as Comparison;
  it('a comparison: not the same phase raises, same phase clears, not proven leaves it', () => {
    const said = (['not-the-same-phase', 'same-phase', 'not-proven'] as const).map((v) =>
      conditionsOf(comparison(v)).map((c) => c.active),
    );
    expect(said).to.deep.equal([[true], [false], []]);
  });
  it('an identification that is not proven neither raises nor clears a conflict with the record', () => {
    const identification = {
      kind: 'identification',
      verdict: 'not-proven',
      agreesWithRecord: false,
      reference: null,
      reasons: [],
      terminal: 't',
    } as unknown as Identification;
    expect(conditionsOf(identification)).to.deep.equal([]);
  });
});
