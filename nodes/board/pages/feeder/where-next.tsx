/** Where to read next: what each reading would settle, and a crew's day of them. */
import { useState } from 'preact/hooks';
import type { Visit } from '../../../../lib/feeder/visits';
import type { TraceSuggestion } from '../../../../lib/records';
import { get } from '../api';
import { useLive } from '../live';
import type { FeederAnswer } from './answers';

interface Props {
  readonly answer: FeederAnswer;
  readonly link: (section: string) => string;
}

export function WhereNext({ answer, link }: Props) {
  const suggestions = answer.trace?.suggestions ?? [];
  return (
    <section aria-labelledby="next-title">
      <h2 id="next-title">Where to read next</h2>
      {suggestions.length === 0 && <p class="empty">No place that was not read yet would settle anything more.</p>}
      <ol class="plain">
        {suggestions.map((s) => (
          <li key={s.section}>
            <a href={link(s.section)}>{s.section}</a>: {s.why}
            {s.terminals.length > 0 ? ` (${s.terminals.join(', ')})` : ''}
          </li>
        ))}
      </ol>
      {suggestions.length > 0 && <Day feeder={answer.picture.feeder} traceId={answer.trace?.id ?? ''} link={link} />}
    </section>
  );
}

/** In words: 12 labels, or 1.58 bits about where conductors cross. */
export const settled = ({ by, settles }: Pick<TraceSuggestion, 'by' | 'settles'>): string =>
  by === 'labels-below'
    ? `about ${settles.toFixed(1)} labels in doubt`
    : `${settles.toFixed(2)} bits on where conductors cross`;

function Day({
  feeder,
  traceId,
  link,
}: {
  readonly feeder: string;
  readonly traceId: string;
  readonly link: Props['link'];
}) {
  const [visits, setVisits] = useState(0);
  return (
    <>
      <p>
        <label>
          A crew's day: places to read{' '}
          <select value={visits} onChange={(e) => setVisits(Number(e.currentTarget.value))}>
            <option value={0}>choose</option>
            {[3, 5, 8, 10, 15, 20].map((n) => (
              <option key={n}>{n}</option>
            ))}
          </select>
        </label>
      </p>
      {visits > 0 && <Visits key={visits} feeder={feeder} visits={visits} traceId={traceId} link={link} />}
    </>
  );
}

interface VisitsProps {
  readonly feeder: string;
  readonly visits: number;
  readonly traceId: string;
  readonly link: Props['link'];
}

function Visits({ feeder, visits, traceId, link }: VisitsProps) {
  const ask = () => get<{ visits: readonly Visit[] }>('feeder/day', { feeder, visits });
  const { value, error } = useLive(`day ${feeder} ${visits} ${traceId}`, ask, []);
  if (error) return <p class="error">{error}</p>;
  if (!value) return <p class="empty">working it out</p>;
  const byWalk = [...value.visits].sort((a, b) => a.walk - b.walk);
  return (
    <table>
      <caption>
        Each place is chosen as if those chosen before had read what is expected. The order follows the feeder from its
        source: a hint for travel, not a route.
      </caption>
      <thead>
        <tr>
          <th scope="col">Stop</th>
          <th scope="col">Section</th>
          <th scope="col">Terminals</th>
          <th scope="col">Settles</th>
        </tr>
      </thead>
      <tbody>
        {byWalk.map((v) => (
          <tr key={v.section}>
            <td>{v.walk}</td>
            <td>
              <a href={link(v.section)}>{v.section}</a>
            </td>
            <td>{v.terminals.join(', ') || '–'}</td>
            <td>{settled(v)}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}
