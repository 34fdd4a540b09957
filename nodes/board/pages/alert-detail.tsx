/** One alert: what, where, since when, on what evidence, what was done, and what can be done. */
import { useState } from 'preact/hooks';
import type { Action } from '../../../lib/alert-actions';
import { nextState } from '../../../lib/alert-states';
import type { Alert, PhaseloomRecord } from '../../../lib/records';
import { get, post } from './api';
import { useLive } from './live';
import { to } from './place';
import { RecordLink } from './record-link';
import { me } from './who';
import { age, CATEGORIES, instant, STATES } from './words';

/** Undoing what took an alert out of sight. */
const BACK: readonly [Action, string][] = [
  ['unshelve', 'End the shelving'],
  ['unsuppress', 'End the suppression'],
  ['in-service', 'Return to service'],
];

const SHELF_MINUTES: readonly [number, string][] = [
  [30, '30 minutes'],
  [120, '2 hours'],
  [480, '8 hours'],
  [1440, '1 day'],
  [10_080, '7 days'],
];

export function AlertDetail({ alert, canAct }: { readonly alert: Alert; readonly canAct: boolean }) {
  const { sign, word } = STATES[alert.state];
  return (
    <article class="detail">
      <p class="back">
        <a href={to('alerts')}>All alerts</a>
      </p>
      <h2>
        {alert.subject}: {CATEGORIES[alert.category]}
      </h2>
      <p class="state">
        <span class="sign" aria-hidden="true">
          {sign}
        </span>{' '}
        <b>{word}</b>
        {alert.shelvedUntil ? ` until ${instant(alert.shelvedUntil)}` : ''}, priority {alert.priority}
      </p>
      <p class="says">{alert.text}</p>
      <dl class="facts">
        <dt>Since</dt>
        <dd>
          {instant(alert.since)} ({age(alert.since)})
        </dd>
        <dt>Newest evidence</dt>
        <dd>{instant(alert.evidenceAt)}</dd>
        <dt>Raised</dt>
        <dd>{alert.count === 1 ? 'once' : `${alert.count} times`} since it was last normal</dd>
        <dt>Condition</dt>
        <dd>{alert.active ? 'present' : 'no longer present'}</dd>
      </dl>
      {alert.caution && <p class="caution">{alert.caution}</p>}
      {canAct ? (
        <Actions alert={alert} />
      ) : (
        <p class="hint">Nothing can be done here: no alert desk works on this ledger.</p>
      )}
      <Evidence alert={alert} />
      <History alert={alert} />
    </article>
  );
}

function Actions({ alert }: { readonly alert: Alert }) {
  const [trouble, setTrouble] = useState('');
  const can = (action: Action) => nextState(alert.state, action, alert.active) !== undefined;
  const act = async (action: Action, more: object = {}) => {
    try {
      if (me.value.trim() === '') throw new Error('Say who you are first, in the field at the top of the page.');
      await post('alerts/act', { action, key: alert.key, by: me.value, ...more });
      setTrouble('');
      return true;
    } catch (cause) {
      setTrouble((cause as Error).message);
      return false;
    }
  };
  return (
    <div class="actions">
      {can('acknowledge') && (
        <button type="button" class="main" id="act-acknowledge" onClick={() => act('acknowledge')}>
          Acknowledge
        </button>
      )}
      {BACK.filter(([action]) => can(action)).map(([action, name]) => (
        <button type="button" onClick={() => act(action)}>
          {name}
        </button>
      ))}
      {can('shelve') && (
        <Words
          id="act-shelve"
          name="Shelve"
          ask="Why nobody need be called for a while"
          send={(reason, minutes) => act('shelve', { reason, minutes })}
          isTimed
        />
      )}
      {can('comment') && (
        <Words id="act-comment" name="Comment" ask="Comment" send={(comment) => act('comment', { comment })} />
      )}
      <p class="error" role="alert">
        {trouble}
      </p>
    </div>
  );
}

interface WordsProps {
  readonly id: string;
  readonly name: string;
  readonly ask: string;
  readonly send: (text: string, minutes: number) => Promise<boolean>;
  readonly isTimed?: boolean;
}

/** An action that needs words. */
function Words({ id, name, ask, send, isTimed }: WordsProps) {
  const submit = async (e: SubmitEvent) => {
    e.preventDefault();
    const form = e.currentTarget as HTMLFormElement;
    const said = new FormData(form);
    if (!(await send(String(said.get('text')), Number(said.get('minutes'))))) return;
    form.reset();
    (form.parentElement as HTMLDetailsElement).open = false;
  };
  return (
    <details id={id}>
      <summary>{name}</summary>
      <form onSubmit={submit}>
        <label>
          {ask}
          <textarea name="text" rows={2} required maxLength={2000} />
        </label>
        {isTimed && (
          <label>
            For{' '}
            <select name="minutes">
              {SHELF_MINUTES.map(([minutes, text]) => (
                <option value={minutes}>{text}</option>
              ))}
            </select>
          </label>
        )}
        <button type="submit">{name}</button>
      </form>
    </details>
  );
}

function Evidence({ alert }: { readonly alert: Alert }) {
  const ask = () => get<{ restsOn: readonly PhaseloomRecord[] }>('record', { id: alert.id });
  const { value, error } = useLive(`evidence ${alert.id}`, ask, []);
  return (
    <>
      <h3>What it rests on</h3>
      {error && <p class="error">{error}</p>}
      <ul class="plain">
        {value?.restsOn.map((r) => (
          <li key={r.id}>
            <RecordLink record={r} />
          </li>
        ))}
      </ul>
      {value?.restsOn.length === 0 && <p class="empty">The ledger no longer holds, or never held, what it rests on.</p>}
    </>
  );
}

function History({ alert }: { readonly alert: Alert }) {
  const ask = () => get<{ history: readonly Alert[] }>('alerts/history', { key: alert.key });
  const { value } = useLive(`history ${alert.id}`, ask, []);
  return (
    <>
      <h3>History</h3>
      <ol class="plain" reversed>
        {[...(value?.history ?? [])].reverse().map((h) => (
          <li key={h.id}>
            <time dateTime={h.at}>{instant(h.at)}</time> <b>{h.transition.replaceAll('-', ' ')}</b>
            {h.by ? ` by ${h.by}` : ''}
            {h.comment ? `: ${h.comment}` : ''}
          </li>
        ))}
      </ol>
    </>
  );
}
