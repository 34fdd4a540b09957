/** On which phase a new customer should be: the choice that leaves the smallest deviation in the worst section above. */
import { useState } from 'preact/hooks';
import type { NewLoadOption } from '../../../../lib/loading/new-load';
import { post } from '../api';
import { figure, percent } from './figures';

interface Props {
  readonly feeder: string;
  readonly sections: readonly string[];
  readonly phases: readonly string[];
}

export function NewLoad({ feeder, sections, phases }: Props) {
  const [options, setOptions] = useState<readonly NewLoadOption[]>([]);
  const [trouble, setTrouble] = useState('');
  const ask = async (e: SubmitEvent) => {
    e.preventDefault();
    const said = new FormData(e.currentTarget as HTMLFormElement);
    const many = Number(said.get('many'));
    const load = {
      id: 'new load',
      section: String(said.get('section')).trim(),
      phases: phases.slice(0, many),
      kW: Number(said.get('kW')),
    };
    try {
      const { answer } = await post<{ answer: readonly NewLoadOption[] }>('plan/ask', { feeder, ask: 'phase', load });
      setOptions(answer);
      setTrouble(answer.length === 0 ? 'The section does not have so many conductors.' : '');
    } catch (cause) {
      setOptions([]);
      setTrouble((cause as Error).message);
    }
  };
  return (
    <section aria-labelledby="new-title">
      <h2 id="new-title">Where a new customer goes</h2>
      <form class="question" onSubmit={ask}>
        <label>
          Section
          <input name="section" list="plan-sections" required autocomplete="off" />
          <datalist id="plan-sections">
            {sections.slice(0, 2000).map((s) => (
              <option value={s} />
            ))}
          </datalist>
        </label>
        <label>
          Load, kW
          <input name="kW" type="number" min={0} step="any" required />
        </label>
        <label>
          On
          <select name="many">
            <option value="1">one phase</option>
            <option value="2">two phases</option>
          </select>
        </label>
        <button type="submit">Which phase</button>
      </form>
      <p class="error" role="alert">
        {trouble}
      </p>
      {options.length > 0 && <Options options={options} />}
    </section>
  );
}

const Options = ({ options }: { readonly options: readonly NewLoadOption[] }) => (
  <>
    <Choices options={options} />
    {options.map((o) => (
      <details key={o.phases.join()}>
        <summary>
          On {o.phases.join(' ')}: what it does to every section above ({o.upstream.length})
        </summary>
        <Above option={o} />
      </details>
    ))}
  </>
);

const pct = (x: number | null): string => (x === null ? 'not told' : percent(x));

/** The nearest section first, up to the source. */
const Above = ({ option: { phases, upstream } }: { readonly option: NewLoadOption }) => (
  <table>
    <caption>With the load on {phases.join(' ')}</caption>
    <thead>
      <tr>
        <th scope="col">Section</th>
        <th scope="col">Unbalance</th>
        <th scope="col">Neutral, A</th>
        <th scope="col">kW by phase</th>
      </tr>
    </thead>
    <tbody>
      {upstream.map(({ section, snapshot, before, after }) => (
        <tr key={`${section} ${snapshot}`}>
          <th scope="row">{snapshot === 'all' ? section : `${section}, ${snapshot}`}</th>
          <td>
            {pct(before.unbalancePct.kW)} → {pct(after.unbalancePct.kW)}
          </td>
          <td>
            {figure(before.neutral.magnitude)} → {figure(after.neutral.magnitude)}
          </td>
          <td>
            {after.phases.map((p, k) => `${p.phase} ${figure(before.phases[k]!.kW)} → ${figure(p.kW)}`).join(', ')}
          </td>
        </tr>
      ))}
    </tbody>
  </table>
);

const Choices = ({ options }: { readonly options: readonly NewLoadOption[] }) => (
  <table>
    <caption>
      Best first: the smallest deviation of a phase from the mean in the worst section above, then all of them added up.
      Reckoned from the loads as recorded or proven; prove the phase at the tap before anything is joined.
    </caption>
    <thead>
      <tr>
        <th scope="col">Phase</th>
        <th scope="col">Worst section above, kW</th>
        <th scope="col">All above, kW</th>
      </tr>
    </thead>
    <tbody>
      {options.map((o) => (
        <tr key={o.phases.join()}>
          <td>
            <b class="letter">{o.phases.join(' ')}</b>
          </td>
          <td>{figure(o.worstKW)}</td>
          <td>{figure(o.sumKW)}</td>
        </tr>
      ))}
    </tbody>
  </table>
);
