import { expect } from 'chai';
import type { Reading } from '../../lib';
import { readMeterCsv } from '../../lib/feeder/io/meter-csv';
import { VoltageSteps } from '../../lib/feeder/meter-steps';
import { parseInstant } from '../../lib/instant';
import { feederOf, trunk } from '../kit/feeder-trunk';

const ABC = ['A', 'B', 'C'];
const at = (minute: number) => `2026-05-04T10:${String(minute).padStart(2, '0')}:00.000000Z`;

describe('meter voltages from a table', () => {
  const table = (...rows: string[]) => readMeterCsv(rows.join('\n'), ABC, 'may');
  const problems = (...rows: string[]) => {
    const read = table(...rows);
    return read.ok ? [] : read.problems;
  };

  it('takes columns of phases and of terminals, and leaves out what is missing', () => {
    expect(table('time;t9A;A;B;C', `${at(0)};230.1;231;232;233`, `${at(15)};;231.5;232.5;233.5`)).to.deep.equal({
      ok: true,
      batch: {
        id: 'may',
        until: at(15),
        phases: { A: [231, 231.5], B: [232, 232.5], C: [233, 233.5] },
        meters: { t9A: [230.1, null] },
      },
    });
  });

  it('says which row and column is wrong, and what would be right', () => {
    expect(problems('when,A,B', `${at(0)},1,2`)).to.deep.equal([
      'the first column is when; expected time',
      'there is no column C; expected one a phase',
    ]);
    expect(problems('time,A,B,C,x,x', `${at(0)},1,2,3,4,5`)[0]).to.match(/^column x: is there twice/);
    expect(problems('time,A,B,C', `${at(5)},1,2,"3,1"`, `${at(5)},1,2,3`, 'noon,1,2,3')).to.deep.equal([
      'row 4: time is "noon"; expected RFC 3339, e.g. 2026-05-04T10:15:00Z',
      'row 3: time is not after the row before; expected rows oldest first',
      'row 2, C: "3,1"; expected a number with a decimal point, or nothing',
    ]);
    expect(problems('')).to.include('there are no rows below the heading; expected one an instant');
  });
});

describe('meter voltages from stored readings', () => {
  const feeder = feederOf(trunk());
  const phases = { A: 'head/A', B: 'head/B', C: 'head/C' };
  const span = { id: 's', phases, fromUs: parseInstant(at(0)), untilUs: parseInstant(at(30)), stepS: 600 };
  const reading = (terminal: string, minute: number, voltageV: number, over: Partial<Reading> = {}): Reading => ({
    kind: 'reading',
    id: `${terminal}-${minute}-${voltageV}`,
    terminal,
    takenAt: at(minute),
    voltageV,
    ...over,
  });

  it('means the readings of a step, with the corrected one for the wrong one, and passes over what is not a voltage of a place asked for', () => {
    const steps = new VoltageSteps(feeder, span);
    for (const r of [
      reading('head/A', 0, 230),
      reading('head/A', 1, 232),
      reading('t9A', 12, 23),
      reading('t9A', 12, 233, { corrects: 't9A-12-23' }),
      reading('t9A', 13, 235),
      reading('t9A', 14, 400, { voltageIs: 'phase-to-phase' }),
      reading('elsewhere', 14, 230),
      reading('t9A', 30, 1),
      reading('head/A', 25, 231),
    ]) {
      steps.add(r);
    }
    expect(steps.batch()).to.deep.equal({
      id: 's',
      until: at(30),
      phases: { A: [231, null, 231], B: [null, null, null], C: [null, null, null] },
      meters: { t9A: [null, 234, null] },
    });
  });

  it('says what of a span cannot be', () => {
    expect(() => new VoltageSteps(feeder, { ...span, untilUs: span.fromUs })).to.throw(RangeError, /from before until/);
    expect(() => new VoltageSteps(feeder, { ...span, stepS: 1e-3 })).to.throw(RangeError, /1 to 70000 steps/);
    expect(() => new VoltageSteps(feeder, { ...span, phases: { A: 'x' } })).to.throw(RangeError, /no terminal of B, C/);
  });
});
