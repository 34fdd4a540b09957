/** Feeders from a map and back (GeoJSON, RFC 7946). */
import { expect } from 'chai';
import { readFeederGeoJson } from '../../lib/feeder/io/geojson';
import { traceGeoJson } from '../../lib/feeder/io/geojson-write';
import type { FeederRead } from '../../lib/feeder/io/read';
import { type FeederDocument, makeFeeder } from '../../lib/feeder/model';
import { traceFeeder } from '../../lib/feeder/trace';

function taken(read: FeederRead) {
  if (!read.ok) throw new Error(read.problems.join('\n'));
  return read;
}
const problemsOf = (read: FeederRead): readonly string[] => (read.ok ? [] : read.problems);

describe('feeders on a map', () => {
  const onMap = (properties: object, geometry: object | null) => ({ type: 'Feature', geometry, properties });
  const lineAt = (...coordinates: number[][]) => ({ type: 'LineString', coordinates });
  const mapped = (...features: object[]) =>
    readFeederGeoJson({ type: 'FeatureCollection', features }, { id: 'F', source: 'n0' });

  it('keep the place of the end away from the source, whichever way a line was drawn', () => {
    const { document } = taken(
      mapped(
        onMap({ id: 'a', phases: 'ABC', from: 'n1', to: 'n0' }, lineAt([10.1, 50], [10, 50])),
        onMap({ id: 'b', phases: 'A', from: 'n1', to: 'n2' }, lineAt([10.1, 50], [10.2, 50])),
      ),
    );
    expect(document.sections.map((s) => s.position)).to.deep.equal([
      { lon: 10.1, lat: 50 },
      { lon: 10.2, lat: 50 },
    ]);
  });

  it('pass nothing over on a map that is meant as a section, a switch, a transformer or a terminal', () => {
    const trunk = onMap({ id: 'a', phases: 'ABC', from: 'n0', to: 'n1' }, lineAt([10, 50], [10.1, 50]));
    const told = (properties: object, geometry: object | null = lineAt([10.1, 50], [10.2, 50])) =>
      problemsOf(mapped(trunk, onMap({ id: 'b', from: 'n1', to: 'n2', phases: 'A', ...properties }, geometry))).join();
    expect(told({ kind: 'switch' })).to.equal('features[1] (b): closed is missing; expected true or false');
    expect(told({ closed: 'no' })).to.equal('features[1] (b): closed is "no"; expected true or false');
    expect(told({ kind: 'transformer' })).to.match(/^features\[1\] \(b\): vectorGroup is missing; expected e.g. Dyn11/);
    expect(told({ lengthM: '12' })).to.equal('features[1] (b): lengthM is "12"; expected a number');
    expect(told({ phases: 'X' })).to.match(/^features\[1\] \(b\): phases \["X"\]: expected one to three/);
    const parts = { type: 'MultiLineString', coordinates: [lineAt([10.1, 50], [10.2, 50]).coordinates] };
    expect(told({}, parts), 'a line in one part').to.equal('');
    const two = { type: 'MultiLineString', coordinates: [...parts.coordinates, ...parts.coordinates] };
    expect(told({}, two)).to.match(/^features\[1\] \(b\): the coordinates are not those of a line/);
    const point = { type: 'Point', coordinates: [10.1, 50] };
    const terminal = problemsOf(mapped(trunk, onMap({ id: 'T/1', phase: 'A' }, point)));
    expect(terminal).to.deep.equal([
      'features[1] (T/1): section is missing; expected id, section and phase of a terminal',
    ]);
    const placeless = taken(mapped(trunk, onMap({ id: 'b', from: 'n1', to: 'n2', phases: 'A' }, null)));
    expect(placeless.document.sections.map((s) => s.id)).to.deep.equal(['a', 'b']);
  });

  it('come back from the map of a trace as they were recorded, not as the evidence has them', () => {
    const three = ['A', 'B', 'C'] as const;
    const at = (lon: number) => ({ position: { lon, lat: 50 } });
    const document: FeederDocument = {
      id: 'F',
      source: 'n0',
      sections: [
        { id: 'a', from: 'n0', to: 'n1', phases: three, lengthM: 40, ...at(10.1) },
        { id: 'b', from: 'n1', to: 'n2', phases: three, kind: 'joint', changePrior: 0.03 },
        { id: 'c', from: 'n3', to: 'n4', phases: ['B'], ...at(10.4) },
        { id: 'lost', from: 'x', to: 'y', phases: ['C'] },
      ],
      switches: [{ id: 'tie', from: 'n2', to: 'n4', phases: ['B'], closed: false }],
      transformers: [{ id: 't', from: 'n2', to: 'n3', phases: three, vectorGroup: 'Dyn11', ...at(10.3) }],
      terminals: [
        { id: 'T/1', section: 'b', phase: 'A', site: 'T' },
        { id: 'T/2', section: 'c', phase: 'B', reversed: true },
      ],
    };
    const feeder = makeFeeder(document);
    // Two conductors of the trunk are swapped beyond doubt.
    const swapped = {
      section: 2,
      from: ['r'],
      likelihood: Float64Array.from({ length: 72 }, (_, i) => (i >= 36 && i < 48 ? 1 : 1e-9)),
    };
    const trace = traceFeeder(feeder, [swapped]);
    expect(trace.corrections).to.have.length(1);
    const map = JSON.parse(JSON.stringify(traceGeoJson(trace)));
    const back = taken(readFeederGeoJson(map, { id: 'F', source: 'n0' }));
    const byId = (rows: readonly { readonly id: string }[] = []) => [...rows].sort((x, y) => (x.id < y.id ? -1 : 1));
    for (const table of ['sections', 'switches', 'transformers', 'terminals'] as const) {
      expect(byId(back.document[table]), table).to.deep.equal(byId(document[table]));
    }
  });
});
