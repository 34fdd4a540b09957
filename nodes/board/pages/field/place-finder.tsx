/** Picks a site or an open point by a part of its name. */
import { useSignal } from '@preact/signals';
import type { Place } from '../../field/steps';
import { network } from './pack';
import { goTo } from './visit';

const SHOWN = 12;

interface Found extends Place {
  readonly name: string;
}

export function PlaceFinder() {
  const sought = useSignal('');
  const found = places().filter(({ id, name }) => `${id} ${name}`.toLowerCase().includes(sought.value.toLowerCase()));
  return (
    <section aria-label="Where">
      <h2>Where are you?</h2>
      <label>
        Find a site or open point
        <input value={sought.value} autocomplete="off" onInput={(e) => (sought.value = e.currentTarget.value)} />
      </label>
      <ul class="choices">
        {found.slice(0, SHOWN).map((p) => (
          <li key={`${p.kind} ${p.id}`}>
            <button type="button" onClick={() => goTo({ kind: p.kind, id: p.id })}>
              <b>{p.id}</b>
              <span>
                {p.kind === 'site' ? 'site' : 'open point'}
                {p.name === p.id ? '' : `, ${p.name}`}
              </span>
            </button>
          </li>
        ))}
      </ul>
      {found.length > SHOWN && <p class="note">{found.length - SHOWN} more: type more of the name.</p>}
      {found.length === 0 && <p class="note">No site or open point has this in its name.</p>}
    </section>
  );
}

function places(): readonly Found[] {
  const { openPoints, sites } = network.value!;
  const points = [...openPoints.values()].map((p) => ({ kind: 'open-point' as const, id: p.id, name: p.name ?? p.id }));
  return [...points, ...[...sites.values()].map((s) => ({ kind: 'site' as const, id: s.id, name: s.name ?? s.id }))];
}
