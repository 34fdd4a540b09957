/** Where a reading tells most about the feeders that are traced: asked for when the crew wants it, since it needs a connection. */
import { useSignal } from '@preact/signals';
import type { Visit } from '../../../../lib/feeder/visits';
import { get } from '../api';
import { network } from './pack';
import { goTo } from './visit';

interface Named {
  readonly id: string;
  readonly name: string;
}

interface Day {
  readonly feeder: Named;
  readonly visits: readonly Visit[];
}

const VISITS = 5;

export function NextPlaces() {
  const days = useSignal<readonly Day[] | null>(null);
  const trouble = useSignal('');
  const ask = async () => {
    try {
      const { feeders } = await get<{ feeders: readonly Named[] }>('feeders');
      const day = async (feeder: Named): Promise<Day> => ({
        feeder,
        ...(await get<{ visits: readonly Visit[] }>('feeder/day', { feeder: feeder.id, visits: VISITS })),
      });
      days.value = await Promise.all(feeders.map(day));
      trouble.value = '';
    } catch (cause) {
      trouble.value = `It could not be asked for: ${(cause as Error).message}`;
    }
  };
  return (
    <details onToggle={(e) => e.currentTarget.open && void ask()}>
      <summary>Where a reading tells most</summary>
      {trouble.value && <p class="note">{trouble.value}</p>}
      {days.value?.length === 0 && <p class="note">No feeder is traced on this board.</p>}
      {days.value?.map((d) => (
        <OneDay key={d.feeder.id} day={d} />
      ))}
    </details>
  );
}

function OneDay({ day: { feeder, visits } }: { readonly day: Day }) {
  const inOrder = [...visits].sort((a, b) => a.walk - b.walk);
  return (
    <section aria-label={`Feeder ${feeder.name}`}>
      <h3>{feeder.name}</h3>
      {inOrder.length === 0 && <p class="note">No place that was not read yet would settle anything more.</p>}
      <ol class="choices">
        {inOrder.map((v) => (
          <li key={v.section}>
            <Stop visit={v} />
          </li>
        ))}
      </ol>
      {inOrder.length > 0 && <p class="note">In the order along the feeder from its source: a hint, not a route.</p>}
    </section>
  );
}

/** A stop at a known site leads to its entry. */
function Stop({ visit }: { readonly visit: Visit }) {
  const { section, terminals, walk } = visit;
  const site = terminals.map((t) => network.value?.siteOf.get(t)).find((s) => s !== undefined);
  const settles =
    visit.by === 'labels-below'
      ? `about ${visit.settles.toFixed(0)} labels in doubt hang on it`
      : 'it narrows down where conductors cross';
  const words = (
    <>
      <b>
        {walk}. {site?.id ?? section}
      </b>
      <span>
        {terminals.join(', ')}: {settles}
      </span>
    </>
  );
  if (!site) return <p>{words}</p>;
  return (
    <button type="button" onClick={() => goTo({ kind: 'site', id: site.id })}>
      {words}
    </button>
  );
}
