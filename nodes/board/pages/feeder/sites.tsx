/** Sites of a feeder in the order of the records: letters first, then line style. Where the lines cross, the viewing order changes. */
import { curveBumpY, line } from 'd3-shape';
import { phaseStyles } from '../../../../lib/phasor-diagram';
import { get } from '../api';
import { useLive } from '../live';
import { go, place, to } from '../place';
import {
  byFeeder,
  feederOf,
  type NetworkAnswer,
  type NetworkPoint,
  type NetworkSite,
  type NetworkTerminal,
  short,
} from '../places';
import { VirtualList } from '../virtual-list';
import { VERDICTS } from '../words';

const ROW_PX = 64;
const MID = ROW_PX / 2;
const LANE_PX = 36;
const WIDTH = 3 * LANE_PX;

export function Sites({ hasTraces }: { readonly hasTraces: boolean }) {
  const { value, error } = useLive('network', () => get<NetworkAnswer>('network'), ['identification', 'comparison']);
  if (error) return <p class="error">{error}</p>;
  if (!value) return <p class="empty">asking the ledger</p>;
  const feeders = byFeeder(value.sites);
  const chosen = value.sites.find((s) => s.id === place.value.what);
  const feeder = chosen ? feederOf(chosen.id) : (place.value.query.get('feeder') ?? [...feeders.keys()][0] ?? '');
  const sites = feeders.get(feeder) ?? [];
  const drawn = sites.map((site, i) => ({ site, before: i === 0 ? undefined : sites[i - 1]! }));
  const pick = (name: string) => go('feeder', '', new URLSearchParams({ feeder: name }));
  return (
    <div class={`split ${chosen ? 'has-choice' : ''}`}>
      <section class="split-list" aria-labelledby="feeder-title">
        <div class="bar">
          <h1 id="feeder-title">Feeder</h1>
          <label>
            Which{' '}
            <select value={feeder} onChange={(e) => pick(e.currentTarget.value)}>
              {[...feeders.keys()].map((name) => (
                <option selected={name === feeder}>{name}</option>
              ))}
            </select>
          </label>
          {hasTraces && <a href={to('feeder')}>Whole feeders</a>}
        </div>
        <Key phases={value.phases} />
        <VirtualList
          label={`Sites of ${feeder}`}
          items={drawn}
          rowPx={ROW_PX}
          keyOf={({ site }) => site.id}
          selected={chosen?.id}
          onSelect={({ site }) => go('feeder', site.id, undefined, true)}
          row={({ site, before }) => (
            <Row site={site} before={before} phases={value.phases} points={pointsAt(value.openPoints, site)} />
          )}
        />
        <p class="hint">Sites stand in the order of the records; lines join neighbours in that order, not spans.</p>
      </section>
      <section class="split-detail" aria-label="The chosen site">
        {chosen ? <Chosen site={chosen} network={value} /> : <p class="empty">Choose a site.</p>}
      </section>
    </div>
  );
}

const pointsAt = (points: readonly NetworkPoint[], site: NetworkSite): readonly NetworkPoint[] =>
  points.filter((p) => site.terminals.some((t) => p.left.includes(t.id) || p.right.includes(t.id)));

const Key = ({ phases }: { readonly phases: readonly string[] }) => (
  <ul class="key" aria-label="Line styles">
    {phases.map((phase) => (
      <li key={phase}>
        <b>{phase}</b>
        <svg width="44" height="6" aria-hidden="true">
          <Stroke d="M0 3H44" phase={phase} phases={phases} />
        </svg>
      </li>
    ))}
    <li>? not proven; ≠ not what the record says</li>
  </ul>
);

interface RowProps {
  readonly site: NetworkSite;
  readonly before: NetworkSite | undefined;
  readonly phases: readonly string[];
  readonly points: readonly NetworkPoint[];
}

function Row({ site, before, phases, points }: RowProps) {
  const joins = before ? phases.flatMap((phase) => joined(before, site, phase)) : [];
  return (
    <div class="feeder-row">
      <svg width={WIDTH} height={ROW_PX} overflow="visible" aria-hidden="true">
        {joins.map(({ phase, d }) => (
          <Stroke key={phase} d={d} phase={phase} phases={phases} />
        ))}
        {site.terminals.map((t, i) => (
          <g key={t.id} transform={`translate(${laneX(i)} ${MID})`}>
            <circle r="13" class={differs(t) ? 'node differs' : 'node'} />
            <text class="node-letter" text-anchor="middle" dominant-baseline="central">
              {t.phase ?? '?'}
            </text>
          </g>
        ))}
      </svg>
      <div>
        <strong>{short(site.id)}</strong> {site.name ?? ''}
        <span class="second">
          <span class="hidden">phases {site.terminals.map((t) => t.phase ?? 'not proven').join(', ')}. </span>
          {site.terminals.some(differs) ? (
            <b>≠ record {site.terminals.map((t) => t.recorded ?? '?').join(' ')}. </b>
          ) : null}
          {points.map((p) => `Open point ${p.id}: ${p.verdict ? VERDICTS[p.verdict] : 'not compared'}`).join('; ')}
        </span>
      </div>
    </div>
  );
}

const differs = (t: NetworkTerminal): boolean => t.phase !== null && t.recorded !== null && t.phase !== t.recorded;
const laneX = (i: number): number => LANE_PX * (i + 0.5);

const curve = line<readonly [number, number]>()
  .x((p) => p[0])
  .y((p) => p[1])
  .curve(curveBumpY);

/** From where a phase stands at one site to where it stands at the next; unproven conductors are not joined. */
function joined(before: NetworkSite, site: NetworkSite, phase: string): { phase: string; d: string }[] {
  const from = before.terminals.findIndex((t) => t.phase === phase);
  const upTo = site.terminals.findIndex((t) => t.phase === phase);
  if (from < 0 || upTo < 0) return [];
  const d = curve([
    [laneX(from), MID - ROW_PX + 13],
    [laneX(upTo), MID - 13],
  ]);
  return d === null ? [] : [{ phase, d }];
}

function Stroke({
  d,
  phase,
  phases,
}: {
  readonly d: string;
  readonly phase: string;
  readonly phases: readonly string[];
}) {
  const style = phaseStyles(phases)[phase];
  return (
    <path d={d} fill="none" class={`phase-${phases.indexOf(phase)}`} stroke-width="3" stroke-dasharray={style?.dash} />
  );
}

function Chosen({ site, network }: { readonly site: NetworkSite; readonly network: NetworkAnswer }) {
  return (
    <article class="detail">
      <p class="back">
        <a href={to('feeder', '', new URLSearchParams({ feeder: feederOf(site.id) }))}>The whole feeder</a>
      </p>
      <h2>{site.id}</h2>
      {site.name && <p>{site.name}</p>}
      <table>
        <caption>Conductors, seen {site.viewing.replaceAll('-', ' ')}</caption>
        <thead>
          <tr>
            <th scope="col">Conductor</th>
            <th scope="col">Phase</th>
            <th scope="col">Record</th>
            <th scope="col">Evidence</th>
          </tr>
        </thead>
        <tbody>
          {site.terminals.map((t) => (
            <tr key={t.id}>
              <td>{short(t.id)}</td>
              <td>
                <b class="letter">{t.phase ?? '?'}</b>
              </td>
              <td>{t.recorded ?? '–'}</td>
              <td>
                {t.verdict ? VERDICTS[t.verdict] : 'not read yet'}
                {differs(t) ? <b>, differs</b> : ''}
              </td>
            </tr>
          ))}
        </tbody>
      </table>
      {pointsAt(network.openPoints, site).map((p) => (
        <p key={p.id}>
          Open point {p.id}: <b>{p.verdict ? VERDICTS[p.verdict] : 'not compared yet'}</b>
        </p>
      ))}
      <p>
        <a href={to('site', site.id)}>Readings and evidence of this site</a>
      </p>
    </article>
  );
}
