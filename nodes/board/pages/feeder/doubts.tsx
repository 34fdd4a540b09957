/** What does not fit: suspected crossings, loops and ties that the evidence contradicts, sites that may be wrong themselves. */
import type { Trace } from '../../../../lib/records';
import { to } from '../place';
import { probability } from './answers';
import { Some } from './some';

interface Props {
  readonly trace: Trace;
  readonly link: (section: string) => string;
}

const SHOWN = 8;

export function Doubts({ trace, link }: Props) {
  return (
    <section aria-labelledby="doubts-title">
      <h2 id="doubts-title">What does not fit</h2>
      <Conflicts trace={trace} />
      <h3>Suspected crossings</h3>
      {trace.suspects.length === 0 && <p class="empty">None between what was read.</p>}
      <Some of={trace.suspects} most={8} within="ol" class="plain">
        {(s, i) => (
          <li key={s.sections[0]?.section ?? i}>
            {s.mass >= 0.95 ? 'A crossing is established' : `Expected crossings: ${s.mass.toFixed(2)}`}; the smallest
            set that holds 95 % of it has {s.sections.length} {s.sections.length === 1 ? 'section' : 'sections'}:{' '}
            {s.sections.slice(0, SHOWN).map((x, k) => (
              <span key={x.section}>
                {k > 0 ? ', ' : ''}
                <a href={link(x.section)}>{x.section}</a> {probability(x.probability)}
              </span>
            ))}
            {s.sections.length > SHOWN ? `, ${s.sections.length - SHOWN} more` : ''}
          </li>
        )}
      </Some>
      {trace.sites.length > 0 && (
        <>
          <h3>Sites to read again</h3>
          <ul class="plain">
            {trace.sites.map((s) => (
              <li key={s.section}>
                <a href={link(s.section)}>{s.section}</a>: tags changed about {probability(s.tagProbability)}, readings
                that say nothing {probability(s.faultProbability)}
              </li>
            ))}
          </ul>
        </>
      )}
    </section>
  );
}

function Conflicts({ trace }: { readonly trace: Trace }) {
  if (trace.conflicts.length === 0) return <p class="empty">No loop or tie contradicts the readings.</p>;
  return (
    <ul class="plain">
      {trace.conflicts.map((c) => (
        <li key={c.id} class="conflict">
          <b>
            {c.what === 'loop' ? 'Loop' : 'Tie'} {c.id}:
          </b>{' '}
          {c.why}. Support by all other evidence: {c.support < 0.001 ? '< 0.001' : c.support.toFixed(3)}.{' '}
          <a href={to('alerts', `network-conflict:${trace.feeder}`)}>The alert</a>
        </li>
      ))}
    </ul>
  );
}
