/** Alerts for the operations centre: those nobody has acknowledged first. */
import { useEffect, useState } from 'preact/hooks';
import type { Alert } from '../../../lib/records';
import { AlertDetail } from './alert-detail';
import { get } from './api';
import { PAGE } from './kept-pages';
import { onTold } from './line';
import { useLive } from './live';
import { LongList } from './long-list';
import { go, place } from './place';
import { spaced } from './spaced';
import { usePages } from './use-pages';
import { age, STATES } from './words';

interface Answer {
  readonly alerts: readonly Alert[];
  readonly count: number;
  readonly calling: number;
  /** the alert that was asked for by its key */
  readonly named: { readonly place: number; readonly alert: Alert } | null;
  readonly canAct: boolean;
}

const ROW_PX = 82;

export function Alerts() {
  const { what: key, query } = place.value;
  const all = query.get('all') === 'true';
  const [calling, setCalling] = useState(0);
  const pages = usePages<Alert>(`alerts ${all}`, async (page) => {
    const answer = await get<Answer>('alerts', { all, offset: page * PAGE, limit: PAGE });
    setCalling(answer.calling);
    return { items: answer.alerts, count: answer.count };
  });
  useEffect(() => whenAlertsChange(() => pages.again()), [pages]);
  const { value, error } = useChosen(key, all);
  const [at, choose] = useState(-1);
  useEffect(() => choose(value?.named?.place ?? -1), [value?.named?.place, all]);
  const there = at < 0 ? undefined : pages.itemAt(at);
  const chosen = value?.named?.alert ?? (there?.key === key ? there : undefined);
  const [isSought, seek] = useState(false);
  useEffect(() => {
    // A row that was chosen before it was here is gone to once it comes.
    if (!isSought || !there) return;
    seek(false);
    go('alerts', there.key, query, true);
  }, [isSought, there]);
  const select = (row: number) => {
    choose(row);
    seek(true);
  };
  // Seen in the browser's tab as well, when another one is in front.
  useEffect(() => {
    document.title = `${calling > 0 ? `(${calling}) ` : ''}Alerts – Phaseloom board`;
  }, [calling]);
  const trouble = pages.error ?? error;
  return (
    <div class={`split ${key ? 'has-choice' : ''}`}>
      <section class="split-list" aria-labelledby="alerts-title">
        <div class="bar">
          <h1 id="alerts-title">Alerts</h1>
          <p aria-live="polite">
            {pages.isAsked ? `${calling} not acknowledged, ${pages.count} in all` : 'asking the ledger'}
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
        {trouble && <p class="error">{trouble}</p>}
        {pages.isCounted && pages.count === 0 && <p class="empty">No alert is open.</p>}
        {pages.count > 0 && (
          <LongList
            key={String(all)}
            label="Alerts. Arrow keys choose; A acknowledges, S shelves, C comments"
            count={pages.count}
            itemAt={(row) => pages.itemAt(row)}
            rowPx={ROW_PX}
            selectedAt={at}
            onSelect={select}
            onKey={press}
            onSee={(from, upTo) => pages.see(from, upTo)}
            row={(a) => <Row alert={a} />}
          />
        )}
        <p class="hint">
          In the list: arrows choose, <kbd>A</kbd> acknowledge, <kbd>S</kbd> shelve, <kbd>C</kbd> comment
        </p>
      </section>
      <section class="split-detail" aria-label="The chosen alert">
        {chosen ? (
          <AlertDetail key={chosen.key} alert={chosen} canAct={value?.canAct ?? true} />
        ) : (
          <p class="empty">{key && value ? `${key} is not open.` : 'Choose an alert to see what it rests on.'}</p>
        )}
      </section>
    </div>
  );
}

/** The chosen alert as it stands, and its place in the list, which moves as others come and go. */
const useChosen = (key: string, all: boolean) =>
  useLive<Answer | undefined>(
    `alert ${all} ${key}`,
    async () => (key ? get<Answer>('alerts', { key, all, limit: 0 }) : undefined),
    key ? ['alert'] : [],
  );

function whenAlertsChange(tell: () => void): () => void {
  const telling = spaced(tell);
  const deaf = onTold((told) => {
    if (told === 'all' || told.has('alert')) telling.soon();
  });
  return () => {
    deaf();
    telling.stop();
  };
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
        <b>{word}</b>
        {doneBy(alert)}, {alert.priority}: {told(alert)}
      </span>
    </div>
  );
}

/** Who did the last thing to it; a comment is no acknowledgement. */
function doneBy({ state, by, transition }: Alert): string {
  if (!by) return '';
  return STATES[state].word === transition ? ` by ${by}` : ` (${transition.replaceAll('-', ' ')} by ${by})`;
}

/** What is the matter, without the place, which stands above. */
const told = ({ subject, text }: Alert): string =>
  text.startsWith(`${subject}: `) ? text.slice(subject.length + 2) : text;

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
