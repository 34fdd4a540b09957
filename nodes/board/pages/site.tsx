/** One site: which phase each conductor is, on which readings, which way they turn, and what faces what at its open points. */
import { get } from './api';
import { Face } from './face';
import { useLive } from './live';
import { PhasorPicture } from './phasor-picture';
import { go, place, to } from './place';
import { byFeeder, type Conductor, letterOf, type NetworkAnswer, type SiteAnswer, short } from './places';
import { Reasons } from './reasons';
import { age, degrees, GRADES, instant, VERDICTS, volts } from './words';

export function SitePage() {
  const network = useLive('network', () => get<NetworkAnswer>('network'), []);
  const first = network.value?.sites[0]?.id ?? '';
  const id = place.value.what || first;
  if (network.error) return <p class="error">{network.error}</p>;
  if (!network.value) return <p class="empty">asking the ledger</p>;
  return (
    <div class="sheet">
      <div class="bar">
        <h1>Site</h1>
        <label>
          Which{' '}
          <select value={id} onChange={(e) => go('site', e.currentTarget.value)}>
            {[...byFeeder(network.value.sites)].map(([feeder, sites]) => (
              <optgroup label={feeder}>
                {sites.map((s) => (
                  <option value={s.id} selected={s.id === id}>
                    {s.name ? `${short(s.id)} ${s.name}` : short(s.id)}
                  </option>
                ))}
              </optgroup>
            ))}
          </select>
        </label>
      </div>
      {id && <OneSite key={id} id={id} />}
    </div>
  );
}

function OneSite({ id }: { readonly id: string }) {
  const ask = () => get<SiteAnswer>('site', { id });
  const { value, error } = useLive(`site ${id}`, ask, ['identification', 'rotation', 'comparison'], 10_000);
  if (error) return <p class="error">{error}</p>;
  if (!value) return <p class="empty">asking the ledger</p>;
  return (
    <>
      <h2>{value.name ? `${value.id}, ${value.name}` : value.id}</h2>
      <p class="links">
        <a href={`field.html?place=${encodeURIComponent(id)}`}>Enter readings by hand</a>
        <a href={`job-sheet.html?place=${encodeURIComponent(id)}`}>Job sheet</a>
      </p>
      <div class="site-top">
        <PhasorPicture site={value} />
        <div>
          {value.terminals.length > 1 && <RotationSaid site={value} />}
          <p>
            Seen {value.viewing.replaceAll('-', ' ')}:{' '}
            <b class="order">{value.terminals.map((t) => letterOf(t)).join(' ')}</b>
          </p>
          <p class="hint">
            In the picture and in what was found angles lead positive, counter-clockwise; a last reading stands as the
            instrument shows it, {value.sense} positive. The arc at a tip spans two standard uncertainties to each side.
          </p>
        </div>
      </div>
      <h3>Conductors and their last readings</h3>
      <Conductors terminals={value.terminals} />
      {value.openPoints.map((point) => (
        <Face key={point.id} point={point} />
      ))}
    </>
  );
}

function RotationSaid({ site: { rotation } }: { readonly site: SiteAnswer }) {
  if (!rotation) return <p class="said">Rotation: not read yet</p>;
  return (
    <>
      <p class="said">
        Rotation: <b>{rotation.sequence ?? 'not proven'}</b>
        {rotation.turns ? `, ${rotation.turns}, seen ${rotation.viewing.replaceAll('-', ' ')}` : ''}
        {rotation.agreesWithRecord === false ? `; the record says ${rotation.recordedSequence}` : ''}
      </p>
      {rotation.unbalance && (
        <p>
          Unbalance: V2/V1 {rotation.unbalance.negativeSequencePct.toFixed(2)} %, line voltage{' '}
          {rotation.unbalance.lineVoltagePct.toFixed(2)} %
        </p>
      )}
      <Reasons reasons={rotation.reasons} />
      {rotation.caution && <p class="caution">{rotation.caution}</p>}
      <p>
        <a href={to('records', rotation.id)}>What the rotation rests on</a>
      </p>
    </>
  );
}

const Conductors = ({ terminals }: { readonly terminals: readonly Conductor[] }) => (
  <ul class="conductors">
    {terminals.map((t) => (
      <li key={t.id} class="card">
        <OneConductor conductor={t} />
      </li>
    ))}
  </ul>
);

function OneConductor({ conductor }: { readonly conductor: Conductor }) {
  const { id, recorded, identification: said, reading, fitness } = conductor;
  return (
    <>
      <p class="conductor">
        <b class="letter">{letterOf(conductor)}</b>
        <span>
          <strong>{short(id)}</strong> {said ? VERDICTS[said.verdict] : 'not read yet'}
          {said?.agreesWithRecord === false ? <b> ≠ record {recorded}</b> : recorded ? `; record ${recorded}` : ''}
        </span>
      </p>
      {said && said.angleDeg !== null && (
        <p>
          {degrees(said.angleDeg)}
          {said.sdDeg === null ? '' : ` ± ${said.sdDeg.toFixed(1)}°`} against {said.reference}{' '}
          <a href={to('records', said.id)}>evidence</a>
        </p>
      )}
      {said && <Reasons reasons={said.reasons} />}
      {reading && (
        <p class="small">
          Last reading {instant(reading.takenAt)} ({age(reading.takenAt)} ago)
          {reading.angleDeg === undefined ? '' : `, ${degrees(reading.angleDeg)} against ${reading.against}`}
          {reading.voltageV === undefined ? '' : `, ${volts(reading.voltageV)}`}
          {reading.by ? `, ${reading.by}` : ''}. {fitness ? `Fitness: ${GRADES[fitness.grade]}.` : ''}
        </p>
      )}
      {fitness && <Reasons reasons={fitness.reasons.filter((r) => !said?.reasons.some((s) => s.why === r.why))} />}
    </>
  );
}
