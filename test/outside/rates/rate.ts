/** One error rate: what was tried, how often it happened, and what the target allows. */
import { limits, limitsOverDraws } from './limits';

export interface Rate {
  /** number of the acceptance target and what it is about */
  readonly target: string;
  readonly what: string;
  readonly trials: number;
  readonly count: number;
  /** largest share that meets the target; for a rate that must be high, its complement is counted */
  readonly most: number;
  /** trials that err together, such as the sections of one feeder: the limits then rest on how these draws differ */
  readonly draws?: readonly Draw[];
  /** true: the upper limit must meet the target, not the share measured alone */
  readonly surely?: boolean;
}

export interface Draw {
  readonly trials: number;
  readonly count: number;
}

export const limitsOf = ({ count, trials, draws }: Rate) => (draws ? limitsOverDraws(draws) : limits(count, trials));

export const met = (r: Rate): boolean => (r.surely ? limitsOf(r).upper : r.count / r.trials) <= r.most;

const share = (x: number): string =>
  x === 0 ? '0' : x < 1e-3 ? `${(1e6 * x).toPrecision(3)} ppm` : `${(100 * x).toPrecision(3)} %`;

export function table(rates: readonly Rate[]): string {
  const rows = rates.map((r) => {
    const { lower, upper } = limitsOf(r);
    const measured = `${r.count} of ${r.trials} = ${share(r.count / r.trials)}`;
    return [
      r.target,
      r.what,
      measured,
      `${share(lower)} to ${share(upper)}`,
      share(r.most),
      met(r) ? 'pass' : 'MISSED',
    ];
  });
  const all = [['target', 'what', 'measured', '95 % limits', 'allowed', 'result'], ...rows];
  const widths = all[0]!.map((_, c) => Math.max(...all.map((row) => row[c]!.length)));
  return all
    .map((row) =>
      row
        .map((cell, c) => cell.padEnd(widths[c]!))
        .join('  ')
        .trimEnd(),
    )
    .join('\n');
}
