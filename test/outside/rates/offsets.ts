/** Acceptance target 2: calibration of a reference at six conductors of which each record is wrong with probability 0.1. */
import { separation, voteOffset } from '../../../lib';
import { chance } from './chance';
import type { Rate } from './rate';

export function offsetRates(trials: number): Rate[] {
  const dice = chance(201);
  let off = 0;
  let refused = 0;
  for (let n = 0; n < trials; n++) {
    const truth = 360 * dice.uniform();
    const offsets = Array.from({ length: 6 }, () => {
      const wrong = dice.uniform() < 0.1 ? 120 * (1 + dice.below(2)) : 0;
      return truth + wrong + 3 * dice.normal();
    });
    const vote = voteOffset(offsets);
    if (!vote) refused++;
    else if (separation(vote.offsetDeg, truth) > 30) off++;
  }
  const target = '2 calibration';
  return [
    { target, what: '6 conductors, 10 % wrong records, sd 3: off by over 30 degrees', trials, count: off, most: 10e-6 },
    { target, what: '6 conductors, 10 % wrong records, sd 3: refused', trials, count: refused, most: 0.15 },
  ];
}
