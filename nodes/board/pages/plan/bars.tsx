/** Load of each phase before and after, as bars with their figures, section by section. */
import { useState } from 'preact/hooks';
import type { Plan, PlanSection } from '../../../../lib/records';
import { figure, percent } from './figures';

const UNITS = { kW: 'kW', amperes: 'A' } as const;
type Unit = keyof typeof UNITS;

/** Most unbalanced first. */
const worst = (sections: readonly PlanSection[]): PlanSection[] =>
  [...sections].sort((a, b) => (b.before.unbalancePct ?? -1) - (a.before.unbalancePct ?? -1));

export function Bars({ plan }: { readonly plan: Plan }) {
  const [unit, setUnit] = useState<Unit>('kW');
  const [at, setAt] = useState(0);
  const sections = worst(plan.sections).filter((s) => s.before.phases);
  const section = sections[at] ?? sections[0];
  if (!section) return null;
  const many = new Set(sections.map((s) => s.snapshot)).size > 1;
  const name = (s: PlanSection) => (many ? `${s.section}, ${s.snapshot}` : s.section);
  return (
    <section aria-labelledby="bars-title">
      <h2 id="bars-title">Load by phase, before and after</h2>
      <div class="bar">
        <label>
          Section{' '}
          <select value={at} onChange={(e) => setAt(Number(e.currentTarget.value))}>
            {sections.map((s, i) => (
              <option value={i}>{name(s)}</option>
            ))}
          </select>
        </label>
        <label>
          In{' '}
          <select value={unit} onChange={(e) => setUnit(e.currentTarget.value as Unit)}>
            <option value="kW">kW per phase</option>
            <option value="amperes">A per phase</option>
          </select>
        </label>
      </div>
      <Table section={section} unit={unit} name={name(section)} />
    </section>
  );
}

interface TableProps {
  readonly section: PlanSection;
  readonly unit: Unit;
  readonly name: string;
}

function Table({ section: { before, after, undecidedKW }, unit, name }: TableProps) {
  const most = Math.max(1e-9, ...[before, after].flatMap((s) => s.phases!.map((p) => Math.abs(p[unit]))));
  return (
    <table class="bars">
      <caption>
        {name}. Unbalance (largest deviation from the mean): {said(before.unbalancePct)} before,{' '}
        {said(after.unbalancePct)} after. Neutral: {figure(before.neutralA)} A before, {figure(after.neutralA)} A after.
        {undecidedKW ? ` ${figure(undecidedKW)} kW on unknown phases are in neither.` : ''}
      </caption>
      <thead>
        <tr>
          <th scope="col">Phase</th>
          <th scope="col">Before, {UNITS[unit]}</th>
          <th scope="col">After, {UNITS[unit]}</th>
        </tr>
      </thead>
      <tbody>
        {before.phases!.map((p, k) => (
          <tr key={p.phase}>
            <th scope="row">
              <b class="letter">{p.phase}</b>
            </th>
            <td>
              <Bar share={Math.abs(p[unit]) / most} figure={figure(p[unit])} phase={k} isAfter={false} />
            </td>
            <td>
              <Bar
                share={Math.abs(after.phases![k]![unit]) / most}
                figure={figure(after.phases![k]![unit])}
                phase={k}
                isAfter
              />
            </td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

const said = (pct: number | null): string => (pct === null ? 'not told' : percent(pct));

interface BarProps {
  readonly share: number;
  readonly figure: string;
  readonly phase: number;
  readonly isAfter: boolean;
}

/** Hollow before, full after; the letter stands at the row. */
const Bar = ({ share, figure: text, phase, isAfter }: BarProps) => (
  <span class="bar-cell">
    <span class="bar-room" aria-hidden="true">
      <span class={`load-bar fill-${phase} ${isAfter ? 'is-after' : ''}`} style={{ width: `${100 * share}%` }} />
    </span>
    <span class="bar-figure">{text}</span>
  </span>
);
