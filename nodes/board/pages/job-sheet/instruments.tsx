/** The instruments as their readings state them, what is held against them, and the reference that was read against. */
import { reasonWords } from '../field/words';
import type { SheetAnswer } from './sheet-answer';

type Props = { readonly answer: SheetAnswer };

export function Instruments({ answer }: Props) {
  const byId = Map.groupBy(answer.readings, ({ reading }) => reading.instrument?.id ?? 'not stated');
  return (
    <section>
      <h2>Instruments and reference</h2>
      <ul>
        {[...byId].map(([id, taken]) => (
          <li key={id}>
            <b>Instrument {id}</b>: {statedBy(taken.at(-1)!.reading)}
            {flaws(taken).map((text) => (
              <div key={text}>{text}</div>
            ))}
          </li>
        ))}
        {answer.references.map((r) => (
          <li key={r.id}>
            <b>Reference {r.id}</b>: stands on phase {r.phase} ({r.connection.replaceAll('-', ' ')})
            {r.terminal ? ` at ${r.terminal}` : ''}; offset {r.offsetDeg.toFixed(2)}° with standard uncertainty{' '}
            {r.offsetSdDeg.toFixed(2)}°; vector groups passed: {path(r.path)}
          </li>
        ))}
      </ul>
      <Proofs answer={answer} />
    </section>
  );
}

const path = (groups: readonly string[] | undefined): string =>
  groups === undefined ? 'not stated' : groups.length === 0 ? 'none' : groups.join(', ');

/** What shows that the instruments tell the same time. */
function Proofs({ answer }: Props) {
  const common = answer.place.openPoints.flatMap((p) => p.common ?? []);
  const read = answer.readings.filter(({ reading }) => common.includes(reading.terminal)).length;
  const proofs = answer.comparisons.map((c) => `${c.openPoint}: ${c.proof?.replaceAll('-', ' ') ?? 'not proven'}`);
  return (
    <p>
      Proof of a common time: {proofs.length === 0 ? 'no comparison in this time' : proofs.join('; ')}.
      {common.length > 0 && ` The common conductor ${common.join(', ')} was read ${read} times.`}
    </p>
  );
}

type Taken = SheetAnswer['readings'][number];

function statedBy({ clock, instrument, coupling }: Taken['reading']): string {
  const lock =
    clock?.locked === undefined ? 'lock not stated' : clock.locked ? 'locked to its time source' : 'not locked';
  return [
    lock,
    clock?.errorUs === undefined ? 'time error not stated' : `time error ${clock.errorUs} µs`,
    `self-test ${instrument?.selfTest?.replace('-', ' ') ?? 'not stated'}`,
    `calibrated ${instrument?.calibratedOn ? `on ${instrument.calibratedOn}` : 'not stated'}`,
    `coupling ${coupling?.replace('-', ' ') ?? 'not stated'}`,
  ].join('; ');
}

const flaws = (taken: readonly Taken[]): readonly string[] => [
  ...new Set(taken.flatMap(({ fitness }) => fitness.reasons.map(reasonWords))),
];
