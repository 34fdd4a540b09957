/** A whole feeder: its drawing, what does not fit the record, what people decide about it, and where to read next. */
import { useRef } from 'preact/hooks';
import { get } from '../api';
import { useLive } from '../live';
import { go, to } from '../place';
import type { FeederAnswer } from './answers';
import { Corrections } from './corrections';
import { Doubts } from './doubts';
import { Drawing } from './drawing';
import { TraceKey } from './key';
import { SectionCard } from './section-card';
import { WhereNext } from './where-next';

interface Props {
  readonly feeder: string;
  readonly section: string;
}

const at = (section: string) => new URLSearchParams(section === '' ? {} : { section });

export function TracePage({ feeder, section }: Props) {
  const ask = () => get<FeederAnswer>('feeder', { id: feeder });
  const { value, error, again } = useLive(`feeder ${feeder}`, ask, ['trace', 'correction']);
  if (error) return <p class="error">{error}</p>;
  if (!value) return <p class="empty">asking the trace</p>;
  const link = (s: string) => to('feeder', feeder, at(s));
  const choose = (s: string) => go('feeder', feeder, at(s), true);
  const { trace } = value;
  return (
    <div class="feeder">
      <div class="feeder-drawing">
        <div class="bar">
          <Find ids={value.picture.ids} choose={choose} />
          {trace ? (
            <Coverage answer={value} />
          ) : (
            <p>Nothing was read on this feeder yet: it stands as the record has it, and nothing is proven.</p>
          )}
        </div>
        <TraceKey phases={value.picture.phases} />
        <Drawing answer={value} chosen={section} onChoose={choose} />
      </div>
      <div class="feeder-says">
        {section ? (
          <SectionCard key={section} answer={value} section={section} />
        ) : (
          <p class="empty">Choose a section in the drawing to see each conductor's phase and what it rests on.</p>
        )}
        <Corrections answer={value} link={link} again={again} />
        {trace && <Doubts trace={trace} link={link} />}
        {trace && <WhereNext answer={value} link={link} />}
      </div>
    </div>
  );
}

function Coverage({ answer: { trace, picture } }: { readonly answer: FeederAnswer }) {
  const { coverage, exactness, leftOut, id } = trace!;
  const share = (n: number) => `${((100 * n) / Math.max(1, coverage.sections)).toFixed(0)} %`;
  return (
    <p>
      {coverage.sections} sections: {coverage.measured} read ({share(coverage.measured)}), {coverage.settled} settled at
      0.99 ({share(coverage.settled)}), {coverage.disagreeing} likelier otherwise than recorded
      {picture.unfed.length > 0 ? `, ${picture.unfed.length} fed by nothing` : ''}.{' '}
      {exactness === 'approximate' && <b>Approximate: {leftOut.join(', ')} left out. </b>}
      <a href={to('records', id)}>This trace</a>
    </p>
  );
}

function Find({ ids, choose }: { readonly ids: readonly string[]; readonly choose: (s: string) => void }) {
  const field = useRef<HTMLInputElement>(null);
  const find = (e: Event) => {
    e.preventDefault();
    const sought = field.current!.value.trim().toLowerCase();
    if (sought === '') return;
    const found =
      ids.find((id, v) => v > 0 && id.toLowerCase() === sought) ??
      ids.find((id, v) => v > 0 && id.toLowerCase().includes(sought));
    field.current!.setCustomValidity(found ? '' : 'no section has this in its name');
    field.current!.reportValidity();
    if (found) choose(found);
  };
  return (
    <form class="find" onSubmit={find}>
      <label>
        Section <input ref={field} autocomplete="off" onInput={(e) => e.currentTarget.setCustomValidity('')} />
      </label>{' '}
      <button type="submit">Find</button>
    </form>
  );
}
