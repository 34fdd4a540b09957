/** Alerts for the operations centre: those nobody has acknowledged first. */
import { useEffect } from 'preact/hooks';
import type { Alert, AlertState } from '../../../lib/records';
import { AlertDetail } from './alert-detail';
import { get } from './api';
import { useLive } from './live';
import { go, place } from './place';
import { VirtualList } from './virtual-list';
import { age, CATEGORIES, STATES } from './words';

interface Answer {
  readonly alerts: readonly Alert[];
  readonly canAct: boolean;
}

const ORDER = Object.keys(STATES) as AlertState[];
const PRIORITIES = ['high', 'medium', 'low'];
const ROW_PX = 82;

export function Alerts() {
  const all = place.value.query.get('all') === 'true';
  const { value, error } = useLive(`alerts ${all}`, () => get<Answer>('alerts', { all }), ['alert']);
  const alerts = [...(value?.alerts ?? [])].sort(firstToSee);
  const key = place.value.what;
  const chosen = alerts.find((a) => a.key === key);
  const show = (a: Alert, instead = true) => go('alerts', a.key, place.value.query, instead);
  const calling = alerts.filter((a) => a.state.endsWith('unacknowledged')).length;
  // Seen in the browser's tab as well, when another one is in front.
  useEffect(() => {
    document.title = `${calling > 0 ? `(${calling}) ` : ''}Alerts – Phaseloom board`;
  }, [calling]);
  return (
    <div class={`split ${key ? 'has-choice' : ''}`}>
      <section class="split-list" aria-labelledby="alerts-title">
        <div class="bar">
          <h1 id="alerts-title">Alerts</h1>
          <p aria-live="polite">
            {value ? `${calling} not acknowledged, ${alerts.length} shown` : 'asking the ledger'}
          </p>
          <label>
            <input
              type="checkbox"
              checked={all}
              onChange={(e) => go('alerts', key, new URLSearchParams(e.currentTarget.checked ? { all: 'true' } : {}))}
            />{' '}
            also those that are normal again
          </label>
        </div>
        {error && <p class="error">{error}</p>}
        {value && alerts.length === 0 && <p class="empty">No alert is open.</p>}
        {alerts.length > 0 && (
          <VirtualList
            label="Alerts. Arrow keys choose; A acknowledges, S shelves, C comments"
            items={alerts}
            rowPx={ROW_PX}
            keyOf={(a) => a.key}
            selected={key}
            onSelect={show}
            onKey={press}
            row={(a) => <Row alert={a} />}
          />
        )}
        <p class="hint">
          In the list: arrows choose, <kbd>A</kbd> acknowledge, <kbd>S</kbd> shelve, <kbd>C</kbd> comment
        </p>
      </section>
      <section class="split-detail" aria-label="The chosen alert">
        {chosen && value ? (
          <AlertDetail key={chosen.key} alert={chosen} canAct={value.canAct} />
        ) : (
          <p class="empty">{key && value ? `${key} is not open.` : 'Choose an alert to see what it rests on.'}</p>
        )}
      </section>
    </div>
  );
}

function Row({ alert }: { readonly alert: Alert }) {
  const { sign, word } = STATES[alert.state];
  return (
    <div class={`alert-row state-${alert.state}`}>
      <span class="sign" aria-hidden="true">
        {sign}
      </span>
      <strong>{alert.subject}</strong>
      <span class="when">{age(alert.since)}</span>
      <span class="second">
        <b>{word}</b>, {alert.priority}: {CATEGORIES[alert.category]}
        {alert.by ? `; ${alert.by}` : ''}
      </span>
    </div>
  );
}

/** The keys lead to the controls of the chosen alert, which say what is needed. */
function press(key: string): boolean {
  const id = { a: 'act-acknowledge', s: 'act-shelve', c: 'act-comment' }[key.toLowerCase()];
  const control = id ? document.getElementById(id) : null;
  if (control instanceof HTMLButtonElement) control.click();
  else if (control instanceof HTMLDetailsElement) {
    control.open = true;
    control.querySelector<HTMLElement>('textarea')?.focus();
  }
  return control !== null;
}

function firstToSee(a: Alert, b: Alert): number {
  return (
    ORDER.indexOf(a.state) - ORDER.indexOf(b.state) ||
    PRIORITIES.indexOf(a.priority) - PRIORITIES.indexOf(b.priority) ||
    b.since.localeCompare(a.since) ||
    a.key.localeCompare(b.key)
  );
}
