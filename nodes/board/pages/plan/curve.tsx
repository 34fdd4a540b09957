/** What each further move buys: the best found, what always taking the best next move reaches, and the bound. */
import { useState } from 'preact/hooks';
import type { CurvePoint } from '../../../../lib/loading/curve';
import { post } from '../api';
import { figure } from './figures';

const WIDTH = 560;
const HEIGHT = 230;
const LEFT = 64;
const BELOW = 34;
const ABOVE = 12;

interface Props {
  readonly feeder: string;
  /** the curve that the plan came with */
  readonly kept: readonly CurvePoint[];
  /** a node can be asked for another */
  readonly canAsk: boolean;
}

export function Curve({ feeder, kept, canAsk }: Props) {
  const [state, setState] = useState<{ busy: boolean; trouble: string; points: readonly CurvePoint[] }>({
    busy: false,
    trouble: '',
    points: [],
  });
  const draw = async (e: SubmitEvent) => {
    e.preventDefault();
    const moves = Number(new FormData(e.currentTarget as HTMLFormElement).get('upTo'));
    setState({ ...state, busy: true, trouble: '' });
    try {
      const { answer } = await post<{ answer: readonly CurvePoint[] }>('plan/ask', {
        feeder,
        ask: 'curve',
        aim: 'best',
        moves,
      });
      setState({ busy: false, trouble: '', points: answer });
    } catch (cause) {
      setState({ ...state, busy: false, trouble: (cause as Error).message });
    }
  };
  const isKept = state.points.length === 0;
  const points = isKept ? kept : state.points;
  return (
    <section aria-labelledby="curve-title">
      <h2 id="curve-title">What each further move buys</h2>
      {canAsk && (
        <form class="find" onSubmit={draw}>
          <label>
            Up to{' '}
            <select name="upTo">
              {[3, 5, 8, 10, 15, 20].map((n) => (
                <option selected={n === 5}>{n}</option>
              ))}
            </select>{' '}
            moves
          </label>{' '}
          <button type="submit" disabled={state.busy}>
            {state.busy ? 'searching' : 'Draw the curve'}
          </button>
          {state.trouble && (
            <span class="error" role="alert">
              {state.trouble}
            </span>
          )}
        </form>
      )}
      {points.length > 0 && <Drawn points={points} />}
      {points.length > 0 && (
        <p class="hint">{isKept ? 'Kept with the plan.' : 'Asked for now, with what is known now; not kept.'}</p>
      )}
    </section>
  );
}

function Drawn({ points }: { readonly points: readonly CurvePoint[] }) {
  const most = Math.max(1e-9, ...points.flatMap((p) => [p.unbalance, p.greedy]));
  const last = Math.max(1, points.at(-1)!.moves);
  const x = (moves: number) => LEFT + ((WIDTH - LEFT - 16) * moves) / last;
  const y = (value: number) => ABOVE + (HEIGHT - ABOVE - BELOW) * (1 - value / most);
  const path = (of: (p: CurvePoint) => number) =>
    points.map((p, i) => `${i === 0 ? 'M' : 'L'}${x(p.moves).toFixed(1)} ${y(of(p)).toFixed(1)}`).join('');
  return (
    <>
      <ul class="key">
        <li>
          ●{' '}
          <svg width="44" height="6" aria-hidden="true">
            <path class="curve-best" d="M0 3H44" />
          </svg>{' '}
          best found
        </li>
        <li>
          □{' '}
          <svg width="44" height="6" aria-hidden="true">
            <path class="curve-greedy" d="M0 3H44" />
          </svg>{' '}
          always the best next move
        </li>
        <li>– no plan is below (bound)</li>
      </ul>
      <svg
        class="curve"
        viewBox={`0 0 ${WIDTH} ${HEIGHT}`}
        role="img"
        aria-label="Unbalance over the number of moves; the figures are in the table below"
      >
        {[0, 0.5, 1].map((share) => (
          <g key={share}>
            <line class="grid" x1={LEFT} x2={WIDTH - 16} y1={y(share * most)} y2={y(share * most)} />
            <text x={LEFT - 16} y={y(share * most)} text-anchor="end" dominant-baseline="central">
              {figure(share * most)}
            </text>
          </g>
        ))}
        <path class="curve-greedy" d={path((p) => p.greedy)} />
        <path class="curve-best" d={path((p) => p.unbalance)} />
        {points.map((p) => (
          <g key={p.moves}>
            <rect class="curve-greedy" x={x(p.moves) - 4} y={y(p.greedy) - 4} width="8" height="8" />
            <circle class="dot" cx={x(p.moves)} cy={y(p.unbalance)} r="4" />
            {p.bound !== null && (
              <line
                class="bound"
                x1={x(p.moves) - 9}
                x2={x(p.moves) + 9}
                y1={y(Math.max(0, p.bound))}
                y2={y(Math.max(0, p.bound))}
              />
            )}
            <text x={x(p.moves)} y={HEIGHT - 16} text-anchor="middle">
              {p.moves}
            </text>
          </g>
        ))}
        <text x={WIDTH / 2} y={HEIGHT - 2} text-anchor="middle">
          moves
        </text>
      </svg>
      <Figures points={points} />
    </>
  );
}

const Figures = ({ points }: { readonly points: readonly CurvePoint[] }) => (
  <table>
    <caption>Unbalance in the unit of the plan</caption>
    <thead>
      <tr>
        <th scope="col">Moves</th>
        <th scope="col">Best found</th>
        <th scope="col">This one buys</th>
        <th scope="col">Best next move</th>
        <th scope="col">Bound</th>
      </tr>
    </thead>
    <tbody>
      {points.map((p, i) => (
        <tr key={p.moves}>
          <td>{p.moves}</td>
          <td>
            {figure(p.unbalance)}
            {p.proven ? ', proven' : ''}
          </td>
          <td>{i === 0 ? '–' : figure(points[i - 1]!.unbalance - p.unbalance)}</td>
          <td>{figure(p.greedy)}</td>
          <td>{p.bound === null ? '–' : figure(p.bound)}</td>
        </tr>
      ))}
    </tbody>
  </table>
);
