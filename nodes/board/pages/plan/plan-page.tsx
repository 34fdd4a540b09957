/** The load plan of a feeder: what it changes, what each move brings, the work list, and where a new load goes. */

import { useState } from 'preact/hooks';
import type { Plan } from '../../../../lib/records';
import { get, post } from '../api';
import { probability } from '../feeder/answers';
import { useLive } from '../live';
import { go, place, to } from '../place';
import { instant } from '../words';
import { Bars } from './bars';
import { Curve } from './curve';
import { figure, percent } from './figures';
import { NewLoad } from './new-load';
import { SectionLoads } from './section-loads';
import { WorkList } from './work-list';

interface Planner {
  readonly feeder: string;
  readonly sections: readonly string[];
  readonly phases: readonly string[];
}

interface Answer {
  readonly plans: readonly Plan[];
  readonly planners: readonly Planner[];
}

export function PlanPage() {
  const { value, error, again } = useLive('plans', () => get<Answer>('plans'), ['plan']);
  if (error) return <p class="error">{error}</p>;
  if (!value) return <p class="empty">asking the ledger</p>;
  const feeders = [...new Set([...value.planners.map((p) => p.feeder), ...value.plans.map((p) => p.feeder)])].sort();
  const feeder = feeders.includes(place.value.what) ? place.value.what : (feeders[0] ?? '');
  const plan = value.plans.find((p) => p.feeder === feeder);
  const planner = value.planners.find((p) => p.feeder === feeder);
  return (
    <div class="sheet plan">
      <div class="bar">
        <h1>Load plan</h1>
        {feeders.length > 0 && (
          <label>
            Feeder{' '}
            <select value={feeder} onChange={(e) => go('plan', e.currentTarget.value)}>
              {feeders.map((f) => (
                <option selected={f === feeder}>{f}</option>
              ))}
            </select>
          </label>
        )}
        {planner && <Search feeder={feeder} again={again} />}
      </div>
      {feeders.length === 0 && (
        <p class="empty">No plan is kept, and no load plan node with loads of its own works on this ledger.</p>
      )}
      {plan && <OnePlan plan={plan} />}
      {feeders.length > 0 && !plan && <p class="empty">No plan has been made for this feeder yet.</p>}
      {(planner || plan?.curve) && (
        <Curve
          key={`curve ${feeder} ${plan?.at}`}
          feeder={feeder}
          kept={plan?.curve ?? []}
          canAsk={planner !== undefined}
        />
      )}
      {planner && <SectionLoads key={`loads ${feeder} ${plan?.id}`} feeder={feeder} />}
      {planner && <NewLoad key={`new ${feeder}`} feeder={feeder} sections={planner.sections} phases={planner.phases} />}
    </div>
  );
}

/** Asks for a plan as the node is set, with another number of moves if wished. */
function Search({ feeder, again }: { readonly feeder: string; readonly again: () => void }) {
  const [state, setState] = useState({ busy: false, trouble: '' });
  const search = async (e: SubmitEvent) => {
    e.preventDefault();
    const moves = String(new FormData(e.currentTarget as HTMLFormElement).get('moves'));
    setState({ busy: true, trouble: '' });
    try {
      await post('plan/ask', { feeder, ask: 'plan', ...(moves === '' ? {} : { aim: 'best', moves: Number(moves) }) });
      setState({ busy: false, trouble: '' });
      again();
    } catch (cause) {
      setState({ busy: false, trouble: (cause as Error).message });
    }
  };
  return (
    <form class="find" onSubmit={search}>
      <label>
        Most moves <input name="moves" type="number" min={0} max={200} placeholder="as set" style={{ width: '7em' }} />
      </label>{' '}
      <button type="submit" disabled={state.busy}>
        {state.busy ? 'searching' : 'Plan anew'}
      </button>
      {state.busy && (
        <button type="button" onClick={() => post('plan/ask', { feeder, ask: 'cancel' }).catch(() => undefined)}>
          Take the best so far
        </button>
      )}
      {state.trouble && (
        <span class="error" role="alert">
          {state.trouble}
        </span>
      )}
    </form>
  );
}

const MOST_NAMED = 12;

/** Loads that stand in no figure, and where each would be read. */
const Undecided = ({ undecided: { loads, kW, list = [] } }: { readonly undecided: Plan['undecided'] }) => (
  <div>
    <b>
      {loads} {loads === 1 ? 'load' : 'loads'} with up to {figure(kW)} kW on phases that are not known
    </b>{' '}
    {loads === 1 ? 'is' : 'are'} in none of the figures: read {loads === 1 ? 'it' : 'them'} first.
    <ul class="plain">
      {list.slice(0, MOST_NAMED).map((l) => (
        <li key={l.id}>
          ? {l.id} at {l.section}, {figure(l.kW)} kW
          {l.terminals.length > 0 ? `, read at ${l.terminals.join(', ')}` : ', no terminal named in the record'}
        </li>
      ))}
      {list.length > MOST_NAMED && <li>and {list.length - MOST_NAMED} more, in the work list</li>}
    </ul>
  </div>
);

function OnePlan({ plan }: { readonly plan: Plan }) {
  const { aim, losses, undecided, basis } = plan;
  return (
    <>
      <p>
        <time dateTime={plan.at}>{instant(plan.at)}</time> <a href={to('records', plan.id)}>This plan</a>. Loads on
        phases that readings prove: {basis.identified}
        {basis.leastProbability !== undefined && `, the least sure of them ${probability(basis.leastProbability)}`}; on
        phases that only the record says: {basis.recorded}.
      </p>
      {undecided.loads > 0 && <Undecided undecided={undecided} />}
      {plan.caution && <p class="caution">{plan.caution}</p>}
      <dl class="figures">
        <div>
          <dt>unbalance before, {aim.unit}</dt>
          <dd>{figure(plan.before)}</dd>
        </div>
        <div>
          <dt>
            after {plan.moves.length} {plan.moves.length === 1 ? 'move' : 'moves'}, {aim.unit}
          </dt>
          <dd>{figure(plan.after)}</dd>
        </div>
        <div>
          <dt>no plan is below (bound)</dt>
          <dd>{plan.bound === null ? 'none' : figure(plan.bound)}</dd>
        </div>
        <div>
          <dt>gap to the bound</dt>
          <dd>{plan.gapPct === null ? 'unknown' : percent(plan.gapPct)}</dd>
        </div>
        {losses && (
          <div>
            <dt>losses, kW, estimate</dt>
            <dd>
              {figure(losses.beforeKW)} → {figure(losses.afterKW)}
            </dd>
          </div>
        )}
      </dl>
      <p class="small">
        {plan.proven ? 'Proven: no better plan exists by the bound. ' : 'Not proven to be the best. '}
        {plan.bound === null && 'Without a solver there is no bound. '}
        {!plan.keepsLimit && 'The limit that was asked for is not kept. '}
        The gap is told in percent of the unbalance of doing nothing.
        {losses
          ? ` Losses are an ${losses.assumptions.replace(/^E/, 'e')}`
          : ' No losses: the loads name no resistances.'}
      </p>
      <Bars plan={plan} />
      <WorkList plan={plan} />
    </>
  );
}
