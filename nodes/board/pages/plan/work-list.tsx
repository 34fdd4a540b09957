/** The moves for the crews, in the order in which each next one helps most, and how far readings since prove them. */
import type { Plan, PlanMove } from '../../../../lib/records';
import { address } from '../api';
import { figure } from './figures';

/** A sign and words; a reading that proves a phase that was not meant speaks against the move. */
const STATES: Readonly<Record<PlanMove['state'], readonly [string, string]>> = {
  open: ['○', 'open: no reading since proves it'],
  confirmed: ['✓', 'confirmed by readings'],
  elsewhere: ['≠', 'contradicted: readings prove other phases'],
};

export function WorkList({ plan }: { readonly plan: Plan }) {
  const count = (state: PlanMove['state']) => plan.moves.filter((m) => m.state === state).length;
  return (
    <section aria-labelledby="work-title">
      <h2 id="work-title">Work list</h2>
      {plan.moves.length === 0 && <p class="empty">Nothing is to be moved.</p>}
      {plan.stuckAt && <Stuck at={plan.stuckAt} />}
      {plan.moves.length > 0 && (
        <>
          <p class="files">
            {count('open')} open, {count('confirmed')} confirmed, {count('elsewhere')} contradicted
            <a href={address('plan/work-list', { id: plan.id })} download>
              CSV for the crews
            </a>
          </p>
          <ol class="moves">
            {plan.moves.map((m) => (
              <li key={m.id} class="card">
                <Move move={m} unit={plan.aim.unit} />
              </li>
            ))}
          </ol>
          <p class="hint">
            The order is that in which each next move helps most; crews may have another. Each move is proven by
            readings at its terminals, not by being ticked off here.
          </p>
        </>
      )}
    </section>
  );
}

/** What an open move starts from, and what would confirm it. */
const Open = ({ move: { knownBy, terminals, from } }: { readonly move: PlanMove }) => (
  <>
    {knownBy === 'record' ? 'That it is there now only the record says. ' : ''}
    {terminals.length < from.length
      ? 'Not all its conductors have a terminal: readings cannot confirm it.'
      : `To be proven at ${terminals.join(', ')}.`}
  </>
);

const MOST_NAMED = 8;

const Stuck = ({ at }: { readonly at: readonly string[] }) => (
  <p>
    <b>
      {at.slice(0, MOST_NAMED).join(', ')}
      {at.length > MOST_NAMED && ` and ${at.length - MOST_NAMED} more`}
    </b>{' '}
    {at.length === 1 ? 'stays' : 'stay'} the worst: the moves that are allowed cannot better that. Other sections were
    not made better for it. Have others watched in the node, such as the head of the feeder, or the sum of all.
  </p>
);

function Move({ move, unit }: { readonly move: PlanMove; readonly unit: string }) {
  const [sign, words] = STATES[move.state];
  return (
    <>
      <p class="move">
        <span class="sign" aria-hidden="true">
          {sign}
        </span>
        <span>
          <strong>
            {move.order}. {move.what} {move.id}
          </strong>{' '}
          at {move.section}: from <b class="letter">{move.from.join(' ')}</b> to{' '}
          <b class="letter">{move.to.join(' ')}</b>
          <span class="second-line">
            {words}
            {move.found ? ` (${move.found.map((p) => p ?? 'nothing').join(' ')})` : ''}. After it:{' '}
            {figure(move.unbalance)} {unit}. {move.state === 'open' && <Open move={move} />}
            {move.rotationCheck ? ' Check the rotation before and after.' : ''}
          </span>
        </span>
      </p>
      <details>
        <summary>Cautions ({move.cautions.length})</summary>
        <ul class="plain">
          {move.cautions.map((c) => (
            <li key={c}>{c}</li>
          ))}
        </ul>
      </details>
    </>
  );
}
