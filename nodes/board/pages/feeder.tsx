/** The feeder page: whole feeders where a node traces them, else sites in the order of the records. */

import { get } from './api';
import type { FeederName } from './feeder/answers';
import { Sites } from './feeder/sites';
import { TracePage } from './feeder/trace-page';
import { useLive } from './live';
import { go, place, to } from './place';

export function Feeder() {
  const { value, error } = useLive('feeders', () => get<{ feeders: readonly FeederName[] }>('feeders'), ['trace']);
  const { what, query } = place.value;
  if (error) return <p class="error">{error}</p>;
  if (!value) return <p class="empty">asking the board</p>;
  const feeder = value.feeders.find((f) => f.id === what) ?? (what === '' ? value.feeders[0] : undefined);
  if (!feeder || query.get('view') === 'sites') return <Sites hasTraces={value.feeders.length > 0} />;
  return (
    <div class="sheet">
      <div class="bar">
        <h1>Feeder</h1>
        <label>
          Which{' '}
          <select value={feeder.id} onChange={(e) => go('feeder', e.currentTarget.value)}>
            {value.feeders.map((f) => (
              <option value={f.id} selected={f.id === feeder.id}>
                {f.name}
              </option>
            ))}
          </select>
        </label>
        <a href={to('feeder', '', new URLSearchParams({ view: 'sites' }))}>Sites in the order of the records</a>
      </div>
      <TracePage key={feeder.id} feeder={feeder.id} section={query.get('section') ?? ''} />
    </div>
  );
}
