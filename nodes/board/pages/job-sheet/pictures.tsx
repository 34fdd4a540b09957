/** The phasors of the visit: one diagram for a site, one for each side of an open point. */
import type { SheetAnswer } from './sheet-answer';

export function Pictures({ answer }: { readonly answer: SheetAnswer }) {
  const { place, terminals, identifications, frame } = answer;
  const point = place.openPoints.find((p) => p.id === place.id);
  const groups: readonly (readonly [string, readonly string[]])[] = point
    ? [
        [`${place.id}, left side`, point.left],
        [`${place.id}, right side`, point.right],
      ]
    : [[place.id, terminals.map((t) => t.id)]];
  return (
    <div class="pictures">
      {groups.map(([name, members]) => {
        const arrows = identifications
          .filter((i) => members.includes(i.terminal))
          .flatMap(({ terminal, phase, angleDeg, sdDeg }) =>
            angleDeg === null
              ? []
              : [{ label: terminal, letter: phase ?? '?', angleDeg, ...(sdDeg === null ? {} : { sdDeg }) }],
          );
        if (arrows.length === 0) return null;
        return (
          <figure key={name}>
            <phasor-diagram arrows={arrows} caption={`Phasors of ${name}`} phases={frame.phases} />
            <figcaption>{name}; letter, then line, then colour tell the phase</figcaption>
          </figure>
        );
      })}
    </div>
  );
}
