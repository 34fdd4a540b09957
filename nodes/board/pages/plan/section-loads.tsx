/** What every section carries now, on the phases that readings prove or, without readings, the record says. */
import { useState } from 'preact/hooks';
import type { SectionLoading } from '../../../../lib/loading/section-loading';
import { post } from '../api';
import { degrees } from '../words';
import { figure, percent } from './figures';

const MOST_ROWS = 60;

interface State {
  readonly busy: boolean;
  readonly trouble: string;
  readonly rows: readonly SectionLoading[] | undefined;
}

export function SectionLoads({ feeder }: { readonly feeder: string }) {
  const [{ busy, trouble, rows }, setState] = useState<State>({ busy: false, trouble: '', rows: undefined });
  const ask = async () => {
    setState({ busy: true, trouble: '', rows });
    try {
      const { answer } = await post<{ answer: readonly SectionLoading[] }>('plan/ask', { feeder, ask: 'loading' });
      setState({ busy: false, trouble: '', rows: answer });
    } catch (cause) {
      setState({ busy: false, trouble: (cause as Error).message, rows });
    }
  };
  return (
    <section aria-labelledby="loads-title">
      <h2 id="loads-title">What every section carries</h2>
      <p>
        <button type="button" onClick={ask} disabled={busy}>
          {rows ? 'Reckon anew' : 'Show'}
        </button>
      </p>
      {trouble && (
        <p class="error" role="alert">
          {trouble}
        </p>
      )}
      {rows && <Found rows={rows} />}
    </section>
  );
}

function Found({ rows }: { readonly rows: readonly SectionLoading[] }) {
  const [name, setName] = useState('');
  const many = new Set(rows.map((r) => r.snapshot)).size > 1;
  const found = rows.filter((r) => r.section.includes(name.trim()));
  return (
    <>
      <label>
        Section <input value={name} onInput={(e) => setName(e.currentTarget.value)} placeholder="part of its name" />
      </label>
      <p class="hint">
        {found.length > MOST_ROWS ? `The first ${MOST_ROWS} of ${found.length} rows` : `${found.length} rows`}, from the
        source on. Currents at nominal voltage; the angle of the neutral current against the voltage of the first phase.
      </p>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: keys must be able to scroll it */}
      <section class="wide" tabIndex={0} aria-label="Load of every section, wide">
        <table>
          <thead>
            <tr>
              <th scope="col">Section</th>
              {many && <th scope="col">At</th>}
              {rows[0]?.phases.map((p) => (
                <th scope="col" key={p.phase}>
                  {p.phase}: kW, kvar, A
                </th>
              ))}
              <th scope="col">Unbalance</th>
              <th scope="col">Neutral</th>
              <th scope="col">On unknown phases</th>
            </tr>
          </thead>
          <tbody>
            {found.slice(0, MOST_ROWS).map((r) => (
              <Row key={`${r.section} ${r.snapshot}`} row={r} many={many} />
            ))}
          </tbody>
        </table>
      </section>
    </>
  );
}

const Row = ({ row, many }: { readonly row: SectionLoading; readonly many: boolean }) => (
  <tr>
    <th scope="row">{row.section}</th>
    {many && <td>{row.snapshot}</td>}
    {row.phases.map((p) => (
      <td key={p.phase}>
        {figure(p.kW)}, {figure(p.kvar)}, {figure(p.amperes)}
      </td>
    ))}
    <td>{row.unbalancePct.kW === null ? '–' : percent(row.unbalancePct.kW)}</td>
    <td>
      {figure(row.neutral.magnitude)} A{row.neutral.magnitude > 0.005 ? ` at ${degrees(row.neutral.angleDeg, 0)}` : ''}
    </td>
    <td>
      {row.undecided.loads > 0
        ? `${figure(row.undecided.kW)} kW, ${row.undecided.loads} ${row.undecided.loads === 1 ? 'load' : 'loads'}`
        : '–'}
    </td>
  </tr>
);
