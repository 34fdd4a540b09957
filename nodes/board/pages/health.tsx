/** How the pack is: what comes in, what waits, what was refused and why, when the references were last heard. */
import { signal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import type { Reading, Rejection } from '../../../lib/records';
import type { LedgerHealth } from '../../ledger/ledger-health';
import { get } from './api';
import { useLive } from './live';
import { to } from './place';
import { RateChart } from './rate-chart';
import { age, instant, subjectOf } from './words';

interface Waiting {
  readonly seq: number;
  readonly destination: string;
  readonly subject: string;
  readonly attempts: number;
  readonly lastError: string;
}

interface HealthAnswer extends LedgerHealth {
  readonly at: string;
  readonly ledger: string;
  readonly waiting: readonly Waiting[];
  readonly rejected: readonly Rejection[];
  readonly references: readonly {
    readonly id: string;
    readonly terminal?: string;
    readonly phase: string;
    readonly last: Reading | null;
  }[];
}

const EVERY_MS = 2000;
const KEPT = 150;

interface Count {
  readonly atS: number;
  readonly readings: number;
}

/** Kept while the page is open, whichever tab is shown. */
const counts = signal<readonly Count[]>([]);

/** Readings a second between one count and the next. */
export function rates(of: readonly Count[]): [number[], number[]] {
  const steps = of.slice(1).map((now, i) => {
    const before = of[i]!;
    const seconds = now.atS - before.atS;
    return [now.atS, seconds > 0 ? Math.max(0, now.readings - before.readings) / seconds : 0] as const;
  });
  return [steps.map((s) => s[0]), steps.map((s) => s[1])];
}

export function Health() {
  const { value, error } = useLive('health', () => get<HealthAnswer>('health'), [], EVERY_MS);
  useEffect(() => {
    if (!value) return;
    const now = { atS: Date.parse(value.at) / 1000, readings: value.readings };
    counts.value = [...counts.value, now].slice(-KEPT);
  }, [value]);
  if (!value) return <p class={error ? 'error' : 'empty'}>{error ?? 'asking the ledger'}</p>;
  const [times, perS] = rates(counts.value);
  return (
    <div class="sheet">
      <h1>Health</h1>
      <p class="said">
        Ledger {value.ledger}: <b>{value.ok ? 'works' : 'in trouble'}</b>
        {value.error ? `: ${value.error}` : ''}
      </p>
      {error && <p class="error">{error}</p>}
      <dl class="figures">
        <Figure name="readings a second" value={perS.length > 0 ? perS.at(-1)!.toFixed(1) : '–'} />
        <Figure name="readings" value={value.readings} />
        <Figure name="pending" value={value.pending} />
        <Figure name="findings" value={value.findings} />
        <Figure name="rejected" value={value.rejections} />
        <Figure name="alerts open" value={value.alertsOpen} />
        <Figure name="deliveries waiting" value={value.deliveriesWaiting} />
      </dl>
      <h2>Readings a second, since this page was opened</h2>
      <RateChart times={times} values={perS} />
      <h2>References</h2>
      <References of={value} />
      <h2>Newest rejections</h2>
      {value.rejected.length === 0 && <p class="empty">None.</p>}
      <ul class="plain">
        {value.rejected.slice(0, 20).map((r) => (
          <li key={r.id}>
            <a href={to('records', r.id)}>{subjectOf(r)}</a> <time dateTime={r.at}>{instant(r.at)}</time>:{' '}
            {r.problems.map((p) => `${p.what}; right would be ${p.expected}`).join('. ')}
          </li>
        ))}
      </ul>
      <h2>Deliveries waiting</h2>
      {value.waiting.length === 0 && <p class="empty">None.</p>}
      <ul class="plain">
        {value.waiting.map((d) => (
          <li key={d.seq}>
            {d.subject} to {d.destination}, tried {d.attempts} times{d.lastError ? `: ${d.lastError}` : ''}
          </li>
        ))}
      </ul>
    </div>
  );
}

function References({ of }: { readonly of: HealthAnswer }) {
  if (of.references.length === 0) return <p class="empty">The frame of this board names none.</p>;
  return (
    <ul class="plain">
      {of.references.map((r) => (
        <li key={r.id}>
          <b>{r.id}</b> on phase {r.phase}:{' '}
          {r.last
            ? `last heard ${age(r.last.takenAt, Date.parse(of.at))} ago, ${instant(r.last.takenAt)}`
            : r.terminal
              ? 'not heard yet'
              : 'has no stream of its own'}
        </li>
      ))}
    </ul>
  );
}

const Figure = ({ name, value }: { readonly name: string; readonly value: string | number }) => (
  <div>
    <dt>{name}</dt>
    <dd>{typeof value === 'number' ? value.toLocaleString('en') : value}</dd>
  </div>
);
