/** Labels of the record that the evidence contradicts, by what explains them; a person accepts or refuses them and says why. */
import { useState } from 'preact/hooks';
import type { Trace, TraceCorrection } from '../../../../lib/records';
import { address, post } from '../api';
import { to } from '../place';
import { me } from '../who';
import { instant } from '../words';
import { type FeederAnswer, probability } from './answers';
import { Some } from './some';

const FORMATS: Readonly<Record<string, string>> = { csv: 'CSV', geojson: 'GeoJSON map', cim: 'CIM difference' };
/** Labels shown before the rest is asked for. */
const SHOWN = 5;

interface Props {
  readonly answer: FeederAnswer;
  readonly link: (section: string) => string;
  readonly again: () => void;
}

export function Corrections({ answer, link, again }: Props) {
  const { trace, picture, formats, decisions } = answer;
  const groups = trace?.corrections ?? [];
  return (
    <section aria-labelledby="corrections-title">
      <h2 id="corrections-title">Corrections of the record</h2>
      {groups.length === 0 && (
        <p class="empty">None is offered: no label contradicts the evidence with a probability of 0.95 or more.</p>
      )}
      <Some of={groups} most={6}>
        {(g) => <Group key={g.cause.section} group={g} feeder={picture.feeder} link={link} again={again} />}
      </Some>
      {groups.length > 0 && trace?.caution && <p class="caution">{trace.caution}</p>}
      {trace && <Files feeder={picture.feeder} formats={formats} />}
      {trace && <Standing trace={trace} link={link} again={again} />}
      {decisions.length > 0 && <Decided decisions={decisions} link={link} />}
    </section>
  );
}

/** One crossing at s7 explains 14 labels. */
function headline({ cause, labels }: TraceCorrection): string {
  const many = labels.length === 1 ? 'one label' : `${labels.length} labels`;
  return `One change at ${cause.section} explains ${many}: ${cause.change}`;
}

interface GroupProps {
  readonly group: TraceCorrection;
  readonly feeder: string;
  readonly link: (section: string) => string;
  readonly again: () => void;
}

function Group({ group, feeder, link, again }: GroupProps) {
  const { cause, labels } = group;
  return (
    <article class="card group">
      <h3>
        <a href={link(cause.section)}>{headline(group)}</a>
      </h3>
      <p class="small">
        Probability that it is exactly at this section: {probability(cause.probability)}.
        {group.from.length > 0 && (
          <>
            {' '}
            Rests on {group.from.length} {group.from.length === 1 ? 'record' : 'records'},{' '}
            <a href={to('records', group.from[0])}>the first of them</a>.
          </>
        )}
      </p>
      <Some of={labels} most={SHOWN} within="ul" class="labels">
        {(l) => (
          <li key={l.section}>
            <a href={link(l.section)}>{l.section}</a>: record <b>{l.recorded.join(' ')}</b>, evidence{' '}
            <b>{l.phases.join(' ')}</b>, {probability(l.probability)}
          </li>
        )}
      </Some>
      <Decide feeder={feeder} cause={`corrections explained at ${cause.section}`} labels={labels} again={again} />
    </article>
  );
}

interface DecideProps {
  readonly feeder: string;
  readonly cause: string;
  readonly labels: readonly { readonly section: string }[];
  readonly again: () => void;
  readonly summary?: string;
}

function Decide({ feeder, cause, labels, again, summary = 'Accept or refuse' }: DecideProps) {
  const [trouble, setTrouble] = useState('');
  const open = labels.map((l) => l.section);
  const submit = async (e: SubmitEvent) => {
    e.preventDefault();
    const form = e.currentTarget as HTMLFormElement;
    const action = (e.submitter as HTMLButtonElement | null)?.value;
    const comment = String(new FormData(form).get('why')).trim();
    const which = String(new FormData(form).get('which'));
    try {
      if (me.value.trim() === '') throw new Error('Say who you are first, in the field at the top of the page.');
      if (comment === '') throw new Error('Say why.');
      const sections = which === '' ? open : [which];
      await post('feeder/decide', { action, feeder, sections, by: me.value, comment });
      setTrouble('');
      form.reset();
      again();
    } catch (cause) {
      setTrouble((cause as Error).message);
    }
  };
  return (
    <details>
      <summary>{summary}</summary>
      <form class="decide" onSubmit={submit} aria-label={`Decide: ${cause}`}>
        <label>
          Which
          <select name="which">
            <option value="">{open.length === 1 ? open[0] : `all ${open.length}`}</option>
            {open.length > 1 && open.slice(0, 200).map((s) => <option value={s}>{s}</option>)}
          </select>
        </label>
        <label>
          Why, and on what else than the readings here
          <textarea name="why" rows={2} maxLength={2000} />
        </label>
        <div class="actions">
          <button type="submit" value="accept-correction" class="main">
            Accept: the record is to be changed
          </button>
          <button type="submit" value="refuse-correction">
            Refuse: the record stays
          </button>
          <p class="error" role="alert">
            {trouble}
          </p>
        </div>
      </form>
    </details>
  );
}

function Files({ feeder, formats }: { readonly feeder: string; readonly formats: readonly string[] }) {
  return (
    <p class="files">
      As a file:
      {formats.map((format) => (
        <a key={format} href={address('feeder/file', { feeder, format, acceptedOnly: format !== 'geojson' })} download>
          {format === 'geojson' ? FORMATS[format] : `accepted, ${FORMATS[format] ?? format}`}
        </a>
      ))}
      <a href={address('feeder/file', { feeder, format: 'csv' })} download>
        all offered, CSV
      </a>
    </p>
  );
}

/** What people decided and what holds in this trace. */
function Standing({ trace, link, again }: Pick<Props, 'link' | 'again'> & { readonly trace: Trace }) {
  const { accepted = [], refused = [] } = trace;
  const list = (title: string, decided: NonNullable<Trace['accepted']>) =>
    decided.length > 0 && (
      <>
        <h3>{title}</h3>
        <Some of={decided} most={SHOWN} within="ul" class="labels">
          {(d) => (
            <li key={d.section}>
              <a href={link(d.section)}>{d.section}</a>: document <b>{d.recorded.join(' ')}</b>, decided{' '}
              <b>{d.phases.join(' ')}</b>, now {probability(d.probability)};{' '}
              <a href={to('records', d.correction)}>{d.by}</a>
              {d.contradicted && <b>; contradicted since: decide again above</b>}
            </li>
          )}
        </Some>
        <Decide feeder={trace.feeder} cause={title} labels={decided} again={again} summary="Decide otherwise" />
      </>
    );
  return (
    <>
      {list(`Accepted, and taken as recorded from then on (${accepted.length})`, accepted)}
      {list(`Refused, and not offered again on the same evidence (${refused.length})`, refused)}
    </>
  );
}

function Decided({ decisions, link }: Pick<FeederAnswer, 'decisions'> & { readonly link: (s: string) => string }) {
  return (
    <details>
      <summary>All decisions ({decisions.length})</summary>
      <ul class="plain">
        {decisions.slice(0, 500).map((d) => (
          <li key={d.id}>
            <a href={to('records', d.id)}>
              <time dateTime={d.at}>{instant(d.at)}</time>
            </a>{' '}
            <b>{d.decision}</b> by {d.by}: <a href={link(d.section)}>{d.section}</a> {d.recorded.join(' ')} to{' '}
            {d.phases.join(' ')}
            {d.comment ? `; ${d.comment}` : ''}
          </li>
        ))}
      </ul>
    </details>
  );
}
