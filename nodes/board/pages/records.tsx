/** Records by place, time, instrument, crew and kind; one record with all it rests on. */
import { useEffect, useState } from 'preact/hooks';
import type { Kind, PhaseloomRecord } from '../../../lib/records';
import { address, get } from './api';
import { PAGE } from './kept-pages';
import { onTold } from './line';
import { useLive } from './live';
import { LongList } from './long-list';
import { OneRecord } from './one-record';
import { go, place } from './place';
import { usePages } from './use-pages';
import { gist, instant, instantOf, KINDS, subjectOf } from './words';

interface Answer {
  readonly records: readonly PhaseloomRecord[];
  readonly next?: string;
}

const ROW_PX = 60;
const FORMATS = ['csv', 'parquet', 'geojson'] as const;

export function Records() {
  const { what, query } = place.value;
  const asked = questionOf(query);
  const { turn, hasNewer, renew } = useNewer(asked.kinds ?? '');
  const key = `${turn} ${JSON.stringify(asked)}`;
  const pages = usePages<PhaseloomRecord>(key, async (_page, after) => {
    const { records, next } = await get<Answer>('records', { ...asked, limit: PAGE, after });
    return { items: records, ...(next === undefined ? {} : { next }) };
  });
  const all = useLive(`count ${key}`, () => get<{ count: number }>('records/count', asked), []);
  const [at, choose] = useState(-1);
  const selectedAt = pages.itemAt(at)?.id === what ? at : pages.placeOf((r) => r.id === what);
  const select = (row: number) => {
    const record = pages.itemAt(row);
    if (!record) return;
    choose(row);
    go('records', record.id, query, true);
  };
  return (
    <div class={`split ${what ? 'has-choice' : ''}`}>
      <section class="split-list" aria-labelledby="records-title">
        <div class="bar">
          <h1 id="records-title">Records</h1>
          <p aria-live="polite">
            {all.value ? `${all.value.count.toLocaleString('en')} found, newest first` : 'asking the ledger'}
          </p>
          {hasNewer && (
            <button type="button" onClick={renew}>
              Show newer ones
            </button>
          )}
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
        {pages.error && <p class="error">{pages.error}</p>}
        {pages.count > 0 && (
          <LongList
            key={key}
            label="Records found"
            count={pages.count}
            itemAt={(row) => pages.itemAt(row)}
            rowPx={ROW_PX}
            selectedAt={selectedAt}
            onSelect={select}
            onSee={(from, upTo) => pages.see(from, upTo)}
            row={(r) => <Row record={r} />}
          />
        )}
        {pages.isCounted && pages.count === 0 && <p class="empty">Nothing fits.</p>}
      </section>
      <section class="split-detail" aria-label="The chosen record">
        {what ? <OneRecord id={what} /> : <p class="empty">Choose a record to see it whole, with what it rests on.</p>}
      </section>
    </div>
  );
}

/** The list stands still under the reader; that newer records came is said, and they are shown when asked for. */
function useNewer(kinds: string) {
  const [turn, setTurn] = useState(0);
  const [hasNewer, setNewer] = useState(false);
  useEffect(() => {
    setNewer(false);
    return onTold((told) => {
      if (told === 'all' || kinds === '' || kinds.split(',').some((k) => told.has(k as Kind))) setNewer(true);
    });
  }, [turn, kinds]);
  return { turn, hasNewer, renew: () => setTurn(turn + 1) };
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
