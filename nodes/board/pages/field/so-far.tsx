/** What the readings say so far, in evidence words, with what is missing and the caution. */
import { IDENTIFICATION_CAUTION } from '../../../../lib/identification-record';
import type { Comparison, Identification, Reason } from '../../../../lib/records';
import { ROTATION_CAUTION } from '../../../../lib/site-rotation';
import { PARTS } from './entry-form';
import { network, pack } from './pack';
import { isAtPoint, place, says } from './visit';
import { comparisonWords, instant, phaseWords, reasonWords, rotationWords } from './words';

export function SoFar() {
  const said = says.value;
  if (!said || said.identifications.length === 0) return null;
  const cautions = [
    said.comparison?.caution ?? (said.rotations.length > 0 ? ROTATION_CAUTION : IDENTIFICATION_CAUTION),
  ];
  return (
    <section class="says" aria-label="What the readings say" aria-live="polite">
      <h2>What the readings say</h2>
      {said.span && (
        <p>
          Read from {instant(said.span[0])} to {instant(said.span[1])}.
        </p>
      )}
      {said.comparison && <Sides comparison={said.comparison} />}
      {isAtPoint.value && !said.comparison && (
        <p class="verdict">
          <b>not proven</b> whether the sides are the same phase
        </p>
      )}
      {said.missing.length > 0 && (
        <p class="note">
          Still to read: {said.missing.map((s) => `${s.terminal} (${PARTS[s.part].toLowerCase()})`).join(', ')}.
        </p>
      )}
      {said.rotations.map((r) => (
        <div key={r.site}>
          <p>
            <b>{r.site}</b>: {rotationWords(r)}
          </p>
          <Why reasons={r.reasons} />
        </div>
      ))}
      <ul class="phases">
        {said.identifications.map((i) => (
          <Conductor key={i.terminal} found={i} />
        ))}
      </ul>
      <Pictures found={said.identifications} />
      {cautions.map((c) => (
        <p class="caution" key={c}>
          {c}
        </p>
      ))}
    </section>
  );
}

function Sides({ comparison }: { readonly comparison: Comparison }) {
  return (
    <div class="verdict">
      <p>
        The two sides: <b>{comparisonWords(comparison)}</b>
        {comparison.landing && comparison.landing !== 'straight' ? `, ${comparison.landing}` : ''}
      </p>
      <p class="proof">Common time of the two sides: {comparison.proof?.replaceAll('-', ' ') ?? 'not proven'}.</p>
      <Why reasons={comparison.reasons} />
    </div>
  );
}

function Conductor({ found }: { readonly found: Identification }) {
  const { phase, terminal, reasons } = found;
  return (
    <li>
      <span class="letter" aria-hidden="true">
        {phase ?? '?'}
      </span>
      <div>
        <b>{terminal}</b> {phaseWords(found)}
        <Why reasons={reasons} />
      </div>
    </li>
  );
}

function Why({ reasons }: { readonly reasons: readonly Reason[] }) {
  if (reasons.length === 0) return null;
  return (
    <ul class="why">
      {reasons.map((r) => (
        <li key={r.code + r.why}>{reasonWords(r)}</li>
      ))}
    </ul>
  );
}

/** One diagram for a site, one for each side of an open point: facing arrows would hide each other. */
function Pictures({ found }: { readonly found: readonly Identification[] }) {
  const id = place.value?.id ?? '';
  const point = isAtPoint.value ? network.value?.openPoints.get(id) : undefined;
  const groups: readonly (readonly [string, readonly string[]])[] = point
    ? [
        ['left side', point.left],
        ['right side', point.right],
      ]
    : [['', found.map((i) => i.terminal)]];
  return (
    <div class="pictures">
      {groups.map(([name, terminals]) => {
        const arrows = arrowsOf(found.filter((i) => terminals.includes(i.terminal)));
        if (arrows.length === 0) return null;
        return (
          <figure key={name}>
            <phasor-diagram
              arrows={arrows}
              caption={`Phasors of ${id} ${name}`.trim()}
              phases={pack.value!.frame.phases}
            />
            {name && <figcaption>{name}</figcaption>}
          </figure>
        );
      })}
    </div>
  );
}

const arrowsOf = (found: readonly Identification[]) =>
  found.flatMap(({ terminal, phase, angleDeg, sdDeg }) =>
    angleDeg === null
      ? []
      : [{ label: short(terminal), letter: phase ?? '?', angleDeg, ...(sdDeg === null ? {} : { sdDeg }) }],
  );

const short = (terminal: string): string => terminal.split('/').slice(-2).join('/');
