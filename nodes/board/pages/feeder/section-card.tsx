/** The chosen section: each conductor's phase with its probability, and the evidence it rests on. */
import type { SectionPicture } from '../../../../lib/feeder/picture';
import type { Identification, PhaseloomRecord } from '../../../../lib/records';
import { get } from '../api';
import { useLive } from '../live';
import { to } from '../place';
import { RecordLink } from '../record-link';
import { degrees } from '../words';
import { type FeederAnswer, OFFERED, probability, strength } from './answers';
import { PhaseLine } from './phase-line';
import { Some } from './some';

interface Props {
  readonly answer: FeederAnswer;
  readonly section: string;
}

export function SectionCard({ answer, section }: Props) {
  const { picture, trace } = answer;
  const feeder = picture.feeder;
  const ask = () => get<SectionPicture>('feeder/section', { feeder, section });
  const { value, error } = useLive(`section ${feeder} ${section} ${trace?.id}`, ask, []);
  const v = picture.ids.indexOf(section, 1);
  if (v < 1) return <p class="empty">The feeder has no section {section}.</p>;
  return (
    <article class="detail" aria-labelledby="section-title">
      <h2 id="section-title">Section {section}</h2>
      <Conductors picture={picture} v={v} />
      <Standing answer={answer} v={v} section={section} />
      {error && <p class="error">{error}</p>}
      {value && (
        <>
          <p class="small">
            {value.kind}, fed by {value.fedBy}. That conductors change places just at its head:{' '}
            {probability(value.change)}.
            {value.terminals.length > 0
              ? ` Can be read at ${value.terminals.join(', ')}.`
              : ' No terminal is recorded here.'}
          </p>
          <Near near={value.near} />
        </>
      )}
    </article>
  );
}

function Conductors({ picture, v }: { readonly picture: FeederAnswer['picture']; readonly v: number }) {
  const present = [0, 1, 2].filter((j) => picture.likeliest[3 * v + j]! >= 0);
  return (
    <table>
      <caption>Conductors, each by itself</caption>
      <thead>
        <tr>
          <th scope="col">Phase</th>
          <th scope="col">Probability</th>
          <th scope="col">Record</th>
          <th scope="col">Says</th>
        </tr>
      </thead>
      <tbody>
        {present.map((j) => {
          const i = 3 * v + j;
          const phase = picture.phases[picture.likeliest[i]!]!;
          const recorded = picture.phases[picture.recorded[i]!]!;
          const p = picture.probability[i]!;
          const isProven = p >= OFFERED;
          return (
            <tr key={j}>
              <td>
                <b class="letter">
                  {phase}
                  {isProven ? '' : '?'}
                </b>{' '}
                {isProven && <PhaseLine phase={phase} phases={picture.phases} />}
              </td>
              <td>{probability(p)}</td>
              <td>{recorded}</td>
              <td>
                {strength(p)}
                {isProven && phase !== recorded ? <b>, ≠ record</b> : ''}
              </td>
            </tr>
          );
        })}
      </tbody>
    </table>
  );
}

/** What else the trace says of this section, in sentences. */
function Standing({ answer, v, section }: Props & { readonly v: number }) {
  const { picture, trace, decisions } = answer;
  const suspect = trace?.suspects.find((s) => s.sections.some((x) => x.section === section));
  const site = trace?.sites.find((s) => s.section === section);
  const decided = decisions.filter((d) => d.section === section);
  return (
    <ul class="plain">
      {picture.together[v]! < OFFERED && (
        <li>
          The evidence is thin here: its likeliest phases together have {probability(picture.together[v]!)}, under 0.95.
          No correction is offered.
        </li>
      )}
      {suspect && (
        <li>
          {suspect.sections.length === 1
            ? 'It alone holds 95 % of a suspected crossing.'
            : `One of ${suspect.sections.length} sections that hold 95 % of a suspected crossing.`}
        </li>
      )}
      {site && (
        <li>
          Its readings may rather be wrong themselves: tags changed about {probability(site.tagProbability)}, readings
          that say nothing {probability(site.faultProbability)}.
        </li>
      )}
      {trace?.accepted?.some((a) => a.section === section) && (
        <li>Taken as recorded because a person accepted it; the feeder document does not say so yet.</li>
      )}
      {decided.map((d) => (
        <li key={d.id}>
          <a href={to('records', d.id)}>{d.decision === 'accepted' ? 'Accepted' : 'Refused'}</a> by {d.by}:{' '}
          {d.recorded.join(' ')} to {d.phases.join(' ')}
          {d.comment ? ` (${d.comment})` : ''}
        </li>
      ))}
    </ul>
  );
}

function Near({ near }: { readonly near: SectionPicture['near'] }) {
  const ids = [...new Set(near.flatMap((e) => e.from))];
  const ask = async () =>
    ids.length === 0
      ? []
      : (await get<{ records: PhaseloomRecord[] }>('records', { ids: ids.join(','), limit: 200 })).records;
  const { value } = useLive(`near ${ids.join()}`, ask, []);
  const found = new Map(value?.map((r) => [r.id, r]));
  return (
    <>
      <h3>The evidence nearest to it</h3>
      {near.length === 0 && (
        <p class="empty">Nothing was read on this part of the feeder: it stands as recorded, with doubt.</p>
      )}
      <Some of={near} most={5} within="ul" class="plain">
        {(e) => (
          <li key={`${e.section} ${e.from[0]}`}>
            {e.steps === 0 ? 'Here' : `At ${e.section}, ${e.steps} ${e.steps === 1 ? 'section' : 'sections'} away`}:{' '}
            {e.from.map((id, i) => {
              const record = found.get(id);
              return (
                <span key={id}>
                  {i > 0 ? '; ' : ''}
                  {record ? <Evidence record={record} /> : <a href={to('records', id)}>record {id.slice(0, 10)}</a>}
                </span>
              );
            })}
          </li>
        )}
      </Some>
    </>
  );
}

/** Of an angle, what it said; of anything else, its line. */
function Evidence({ record }: { readonly record: PhaseloomRecord }) {
  if (record.kind !== 'identification') return <RecordLink record={record} />;
  const { id, terminal, phase, angleDeg } = record as Identification;
  return (
    <a href={to('records', id)}>
      {terminal} {phase ?? '?'}
      {angleDeg === null ? '' : ` ${degrees(angleDeg)}`}
    </a>
  );
}
