/** One visit on paper: who, when, where, with what, what was read, what it says, and who signs for it. */
import { comparisonWords, instant, phaseWords, reasonWords, rotationWords } from '../field/words';
import { Instruments } from './instruments';
import { Pictures } from './pictures';
import { Readings } from './readings';
import type { SheetAnswer } from './sheet-answer';

type Props = { readonly answer: SheetAnswer };

export function Sheet({ answer }: Props) {
  const { place } = answer;
  return (
    <main>
      <button type="button" class="print" onClick={() => window.print()}>
        Print or save as PDF
      </button>
      <h1>
        Job sheet: {place.id}
        {place.name === place.id ? '' : ` (${place.name})`}
      </h1>
      <Head answer={answer} />
      {answer.readings.length === 0 && (
        <p class="error">
          The ledger holds no reading of this place in this time{answer.job ? ' of this work order' : ''}.
        </p>
      )}
      <Findings answer={answer} />
      <Pictures answer={answer} />
      <Readings answer={answer} />
      <Instruments answer={answer} />
      <Signatures />
      <RecordIds answer={answer} />
    </main>
  );
}

function Head({ answer }: Props) {
  const { place, readings, frame, job } = answer;
  const instants = readings.map(({ reading }) => reading.takenAt).sort();
  const by = named(readings.map(({ reading }) => reading.by));
  const jobs = named(readings.map(({ reading }) => reading.job));
  const rows: readonly (readonly [string, string])[] = [
    ['Read by', by || 'not stated'],
    ['Visit or work order', job || jobs || 'not stated'],
    ['Readings taken', instants.length === 0 ? 'none' : `${instant(instants[0]!)} to ${instant(instants.at(-1)!)}`],
    ['Network', answer.network],
    ['Seen', place.viewing?.replaceAll('-', ' ') ?? 'open point, facing terminals'],
    ['Position', place.position ? `${place.position.lat}, ${place.position.lon}` : 'not in the record'],
    ['Frame', `${frame.id}, revision ${frame.revision}; ${frame.nominalHz} Hz; positive angles ${frame.sense}`],
  ];
  return (
    <dl class="head">
      {rows.map(([name, value]) => (
        <div key={name}>
          <dt>{name}</dt>
          <dd>{value}</dd>
        </div>
      ))}
    </dl>
  );
}

const named = (names: readonly (string | undefined)[]): string =>
  [...new Set(names.filter((n) => n !== undefined))].join(', ');

/** What the ledger's last findings of the time say; the sheet concludes nothing by itself. */
function Findings({ answer }: Props) {
  const { comparisons, rotations, identifications, readings } = answer;
  const found = [...comparisons, ...rotations, ...identifications];
  const cautions = [...new Set(found.flatMap((f) => f.caution ?? []))];
  const untold = readings.length > 0 && found.length === 0;
  return (
    <section>
      <h2>What the readings say</h2>
      {untold && <p class="error">The ledger holds no finding from these readings: nothing is proven.</p>}
      {comparisons.map((c) => (
        <div class="verdict" key={c.id}>
          <p>
            {c.openPoint}: <b>{comparisonWords(c)}</b>
            {c.landing && c.landing !== 'straight' ? `, ${c.landing}` : ''}; common time:{' '}
            {c.proof?.replaceAll('-', ' ') ?? 'not proven'}
          </p>
          <Reasons of={c.reasons} />
        </div>
      ))}
      {rotations.map((r) => (
        <div key={r.id}>
          <p>
            {r.site}: {rotationWords(r)}
          </p>
          <Reasons of={r.reasons} />
        </div>
      ))}
      {identifications.map((i) => (
        <div key={i.id}>
          <p>
            {i.terminal}: {phaseWords(i)}
          </p>
          <Reasons of={i.reasons} />
        </div>
      ))}
      {cautions.map((c) => (
        <p class="caution" key={c}>
          {c}
        </p>
      ))}
      <p class="caution">
        This sheet is a record of evidence and no voltage detector: it does not replace testing for absence of voltage,
        earthing, switching orders, local rules or the judgement of qualified people, and permits nothing.
      </p>
    </section>
  );
}

function Reasons({ of }: { readonly of: SheetAnswer['comparisons'][number]['reasons'] }) {
  if (of.length === 0) return null;
  return (
    <ul>
      {of.map((r) => (
        <li key={r.code + r.why}>{reasonWords(r)}</li>
      ))}
    </ul>
  );
}

function Signatures() {
  return (
    <section class="signatures" aria-label="Signatures">
      {['Read by', 'Checked by'].map((role) => (
        <div key={role}>
          <p>{role}</p>
          <p class="line">Name, date, signature</p>
        </div>
      ))}
    </section>
  );
}

function RecordIds({ answer }: Props) {
  const findings = [...answer.comparisons, ...answer.rotations, ...answer.identifications];
  const ids = [...findings.map((f) => f.id), ...answer.readings.map(({ reading }) => reading.id)];
  const beside = new Set(findings.flatMap((f) => f.from).filter((id) => !ids.includes(id)));
  return (
    <section>
      <h2>Records</h2>
      <p class="ids">{ids.join(' ')}</p>
      {beside.size > 0 && (
        <>
          <p>The findings rest on these as well, such as readings of a reference or of another visit:</p>
          <p class="ids">{[...beside].join(' ')}</p>
        </>
      )}
    </section>
  );
}
