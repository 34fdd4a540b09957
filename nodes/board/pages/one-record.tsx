/** One record whole, with all it rests on: the page a permanent link leads to. */
import type { PhaseloomRecord } from '../../../lib/records';
import { get } from './api';
import { useLive } from './live';
import { to } from './place';
import { Reasons } from './reasons';
import { RecordLink } from './record-link';
import { gist, instant, instantOf, subjectOf } from './words';

export function OneRecord({ id }: { readonly id: string }) {
  const ask = () => get<{ record: PhaseloomRecord; restsOn: readonly PhaseloomRecord[] }>('record', { id });
  const { value, error } = useLive(`record ${id}`, ask, []);
  if (error) return <p class="error">{error}</p>;
  if (!value) return <p class="empty">asking the ledger</p>;
  const { record, restsOn } = value;
  return (
    <article class="detail">
      <h2>
        {record.kind} {subjectOf(record)}
      </h2>
      <p class="says">{gist(record)}</p>
      <p>
        <time dateTime={instantOf(record)}>{instant(instantOf(record))}</time>{' '}
        <a href={to('records', id)}>Link to this record</a>
      </p>
      {'caution' in record && record.caution && <p class="caution">{record.caution}</p>}
      {'reasons' in record && <Reasons reasons={record.reasons} />}
      <h3>What it rests on ({restsOn.length})</h3>
      <ul class="plain">
        {restsOn.map((r) => (
          <li key={r.id}>
            <RecordLink record={r} />
          </li>
        ))}
      </ul>
      <h3>The record</h3>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: what scrolls must be reachable by keys */}
      <pre tabIndex={0}>{JSON.stringify(record, null, 2)}</pre>
    </article>
  );
}
