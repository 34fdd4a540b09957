/** Records by place, time, instrument, crew and kind; one record with all it rests on. */
import { useEffect, useRef, useState } from 'preact/hooks';
import type { PhaseloomRecord } from '../../../lib/records';
import { address, get } from './api';
import { OneRecord } from './one-record';
import { go, place } from './place';
import { VirtualList } from './virtual-list';
import { gist, instant, instantOf, KINDS, subjectOf } from './words';

interface Page {
  readonly records: readonly PhaseloomRecord[];
  readonly next?: string;
}

const ROW_PX = 60;
const FORMATS = ['csv', 'parquet', 'geojson'] as const;

export function Records() {
  const { what, query } = place.value;
  const asked = questionOf(query);
  const key = JSON.stringify(asked);
  const { records, isMore, error, more } = usePages(key, asked);
  return (
    <div class={`split ${what ? 'has-choice' : ''}`}>
      <section class="split-list" aria-labelledby="records-title">
        <div class="bar">
          <h1 id="records-title">Records</h1>
          <p aria-live="polite">
            {records.length} shown{isMore ? ', more below' : ''}
          </p>
        </div>
        <details class="search" open={innerWidth > 760}>
          <summary>What to look for</summary>
          <Question query={query} what={what} />
        </details>
        <p class="files">
          All of them as{' '}
          {FORMATS.map((format) => (
            <a href={address('records/file', { ...asked, format })} download>
              {format === 'csv' ? 'CSV' : format === 'parquet' ? 'Parquet' : 'GeoJSON'}
            </a>
          ))}
        </p>
        {error && <p class="error">{error}</p>}
        {records.length > 0 && (
          <VirtualList
            label="Records found"
            items={records}
            rowPx={ROW_PX}
            keyOf={(r) => r.id}
            selected={what}
            onSelect={(r) => go('records', r.id, query, true)}
            onEnd={more}
            row={(r) => <Row record={r} />}
          />
        )}
        {records.length === 0 && !error && !isMore && <p class="empty">Nothing fits.</p>}
      </section>
      <section class="split-detail" aria-label="The chosen record">
        {what ? <OneRecord id={what} /> : <p class="empty">Choose a record to see it whole, with what it rests on.</p>}
      </section>
    </div>
  );
}

function Row({ record }: { readonly record: PhaseloomRecord }) {
  return (
    <div class="record-row">
      <strong>
        <bdi>{subjectOf(record)}</bdi>
      </strong>
      <span class="when">{instant(instantOf(record)).slice(0, -4)}</span>
      <span class="second">
        <b>{record.kind}</b>: {gist(record)}
      </span>
    </div>
  );
}

function Question({ query, what }: { readonly query: URLSearchParams; readonly what: string }) {
  const ask = (e: Event) => {
    e.preventDefault();
    const form = new FormData((e.currentTarget as HTMLInputElement).form ?? (e.currentTarget as HTMLFormElement));
    const next = new URLSearchParams();
    for (const [name, value] of form) if (value !== '') next.set(name, String(value));
    go('records', what, next, true);
  };
  return (
    <form class="question" onSubmit={ask}>
      <label>
        Kind
        <select name="kinds" defaultValue={query.get('kinds') ?? ''} onChange={ask}>
          <option value="">all but readings</option>
          <option value="all" selected={query.get('kinds') === 'all'}>
            all
          </option>
          {KINDS.map((kind) => (
            <option selected={query.get('kinds') === kind}>{kind}</option>
          ))}
        </select>
      </label>
      <Field name="subject" label="Place (ends in / for all below)" query={query} />
      <Time name="from" label="From (UTC)" query={query} />
      <Time name="to" label="To (UTC)" query={query} />
      <Field name="instrument" label="Instrument" query={query} />
      <Field name="by" label="Crew or person" query={query} />
      <label class="check">
        <input
          type="checkbox"
          name="currentOnly"
          value="true"
          checked={query.get('currentOnly') === 'true'}
          onChange={ask}
        />{' '}
        only what holds now
      </label>
      <button type="submit">Search</button>
    </form>
  );
}

interface FieldProps {
  readonly name: 'subject' | 'from' | 'to' | 'instrument' | 'by';
  readonly label: string;
  readonly query: URLSearchParams;
}

const Field = ({ name, label, query }: FieldProps) => (
  <label>
    {label}
    <input name={name} defaultValue={query.get(name) ?? ''} />
  </label>
);

const Time = ({ name, label, query }: FieldProps) => (
  <label>
    {label}
    <input name={name} type="datetime-local" step={1} defaultValue={query.get(name) ?? ''} />
  </label>
);

function questionOf(query: URLSearchParams): Record<string, string> {
  const asked: Record<string, string> = {
    order: 'newest-first',
    kinds: KINDS.filter((k) => k !== 'reading').join(','),
  };
  for (const [name, value] of query) {
    const isTime = name === 'from' || name === 'to';
    asked[name] = isTime && !value.endsWith('Z') ? `${value.length === 16 ? `${value}:00` : value}Z` : value;
  }
  if (asked.kinds === 'all') asked.kinds = '';
  return asked;
}

/** Page after page, as the reader comes to the end of what is there. */
function usePages(key: string, asked: Record<string, string>) {
  const [state, setState] = useState<{
    key: string;
    records: readonly PhaseloomRecord[];
    next?: string;
    error?: string;
  }>({ key: '', records: [] });
  const busy = useRef('');
  const load = (after?: string) => {
    const turn = `${key} ${after ?? ''}`;
    if (busy.current === turn) return;
    busy.current = turn;
    get<Page>('records', { ...asked, after }).then(
      ({ records, next }) => {
        if (busy.current !== turn) return;
        busy.current = '';
        setState((was) => ({
          key,
          records: after === undefined ? records : [...was.records, ...records],
          ...(next === undefined ? {} : { next }),
        }));
      },
      (cause) => {
        if (busy.current !== turn) return;
        busy.current = '';
        setState({ key, records: [], error: cause.message });
      },
    );
  };
  useEffect(() => load(), [key]);
  const { next, records, error } = state;
  const isMore = state.key !== key || next !== undefined;
  return { records, error, isMore, more: () => next !== undefined && state.key === key && load(next) };
}
