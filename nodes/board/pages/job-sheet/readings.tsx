/** Every reading of the visit, as it was taken. */

import type { Identification } from '../../../../lib/records';
import { degrees, instant, volts } from '../field/words';
import { GRADES } from '../words';
import type { SheetAnswer } from './sheet-answer';

export function Readings({ answer }: { readonly answer: SheetAnswer }) {
  const recorded = new Map(answer.terminals.map((t) => [t.id, t.recorded]));
  const corrected = new Set(answer.readings.map(({ reading }) => reading.corrects));
  const found = new Map(answer.identifications.map((i) => [i.terminal, i]));
  return (
    <section>
      <h2>Readings</h2>
      {answer.hasMore && (
        <p>Only the newest readings of each terminal{answer.job ? ' of this work order' : ''} are shown.</p>
      )}
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: what scrolls must be reachable by keys */}
      <div class="wide" tabIndex={0}>
        <table>
          <thead>
            <tr>
              {['Terminal', 'Record', 'Found', 'Angle', 'Against', 'Voltage', 'Taken', 'Instrument', 'Fitness'].map(
                (h) => (
                  <th key={h} scope="col">
                    {h}
                  </th>
                ),
              )}
            </tr>
          </thead>
          <tbody>
            {answer.readings.map(({ reading: r, fitness }) => (
              <tr key={r.id}>
                <th scope="row">{r.terminal}</th>
                <td>{recorded.get(r.terminal) ?? '–'}</td>
                <td>{recorded.has(r.terminal) ? foundBy(r.id, found.get(r.terminal)) : 'common conductor'}</td>
                <td class="figure">{r.angleDeg === undefined ? '–' : degrees(r.angleDeg)}</td>
                <td>{r.against ?? '–'}</td>
                <td>
                  {r.voltageV === undefined ? '–' : `${volts(r.voltageV)} ${(r.voltageIs ?? '').replaceAll('-', ' ')}`}
                </td>
                <td class="figure">{instant(r.takenAt)}</td>
                <td>{r.instrument?.id ?? '–'}</td>
                <td>{corrected.has(r.id) ? 'superseded: typed wrong' : GRADES[fitness.grade]}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </section>
  );
}

/** A finding stands only beside the readings that it rests on. */
function foundBy(reading: string, found: Identification | undefined): string {
  if (!found) return 'not proven';
  return found.from.includes(reading) ? (found.phase ?? 'not proven') : '–';
}
