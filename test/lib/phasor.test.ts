import { expect } from 'chai';
import fc from 'fast-check';
import { symmetricalComponents } from '../../lib/components';
import { minus, phasor, sum, turn } from '../../lib/phasor';

const any = fc
  .tuple(fc.double({ min: 0, max: 1e5, noNaN: true }), fc.double({ min: -720, max: 720, noNaN: true }))
  .map(([m, a]) => phasor(m, a));
const law = (
  name: string,
  holds: (a: ReturnType<typeof phasor>, b: ReturnType<typeof phasor>, c: ReturnType<typeof phasor>) => void,
) =>
  it(name, () =>
    fc.assert(
      fc.property(any, any, any, (a, b, c) => {
        holds(a, b, c);
      }),
      { seed: 20261125, numRuns: 300 },
    ),
  );
const near = (p: { magnitude: number }, q: Parameters<typeof minus>[1], scale: number) =>
  expect(minus(p as never, q).magnitude).to.be.below(1e-9 * (1 + scale));

describe('phasors', () => {
  law('sum and difference undo each other', (a, b) => near(minus(sum(a, b), b), a, a.magnitude + b.magnitude));
  law('a turn changes the angle only', (a) => expect(turn(a, 90).magnitude).to.equal(a.magnitude));
  law(
    'symmetrical components make the phases again (Fortescue): A = zero + positive + negative, B = zero + a^2 positive + a negative',
    (a, b, c) => {
      const { zero, positive, negative } = symmetricalComponents(a, b, c);
      const scale = a.magnitude + b.magnitude + c.magnitude;
      near(sum(zero, positive, negative), a, scale);
      near(sum(zero, turn(positive, -120), turn(negative, 120)), b, scale);
      near(sum(zero, turn(positive, 120), turn(negative, -120)), c, scale);
    },
  );
  it('refuses what is not finite', () => expect(() => phasor(Number.NaN, 0)).to.throw(RangeError));
});
