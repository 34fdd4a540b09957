/** The phasors of a site, as the identifications that hold now have them. */
import './phasor-element';
import { letterOf, type SiteAnswer, short } from './places';

export function PhasorPicture({ site }: { readonly site: SiteAnswer }) {
  const arrows = site.terminals.flatMap((t) => {
    const said = t.identification;
    if (!said || said.angleDeg === null) return [];
    const sd = said.sdDeg === null ? {} : { sdDeg: said.sdDeg };
    return [{ label: short(t.id), letter: letterOf(t), angleDeg: said.angleDeg, ...sd }];
  });
  if (arrows.length === 0) return <p class="empty picture">No angle against a reference yet.</p>;
  return (
    <div class="picture">
      <phasor-diagram arrows={arrows} caption={`Phasors of ${site.id}`} phases={site.phases} />
    </div>
  );
}
