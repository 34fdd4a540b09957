/** Networks in and out of CSV and GeoJSON. The shape of GeoJSON is that of RFC 7946: longitude before latitude. */
import { expect } from 'chai';
import { readNetwork } from '../../lib/network-document';
import { tablesAsGeojson } from '../../lib/network-geojson';
import { tablesAsCsv, tablesOfNetwork } from '../../lib/network-table-text';

const CSV = `id,site,position,viewing,recordedPhase,connection,nominalV,path,lat,lon
S118/2,S118,2,road-to-field,B,phase-neutral,12470,Dyn1 YNyn0,47.5,8.25
S118/1,S118,1,road-to-field,A,phase-neutral,12470,Dyn1 YNyn0,47.5,8.25
"R17, north/1",R17,1,left-to-right,A,,12470,none,,
R17/2,R17,2,left-to-right,B,,12470,,,

openPoint,left,right,toleranceDeg
S118-R17,S118/1,"R17, north/1",12
S118-R17,S118/2,R17/2,
`;

const documentOf = (text: string) => {
  const read = readNetwork({ text, id: 'n' });
  if (!read.ok) throw new Error(read.problems.join('\n'));
  return read.document;
};

const point = (properties: object, coordinates: unknown) => ({
  type: 'Feature',
  properties,
  geometry: { type: 'Point', coordinates },
});
const collection = (...features: object[]) => JSON.stringify({ type: 'FeatureCollection', features });

describe('a network as tables and on the map', () => {
  it('lat and lon place the site', () => {
    const [site] = documentOf(CSV).sites!;
    expect(site).to.deep.include({ id: 'S118', viewing: 'road-to-field', position: { lat: 47.5, lon: 8.25 } });
    expect(site!.terminals).to.deep.equal(['S118/1', 'S118/2']);
  });

  it('CSV and GeoJSON read back what was written', () => {
    const document = documentOf(CSV);
    const tables = tablesOfNetwork(document);
    expect(documentOf(tablesAsCsv(tables))).to.deep.equal(document);
    expect(documentOf(JSON.stringify(tablesAsGeojson(tables)))).to.deep.equal(document);
  });

  it('GeoJSON has the longitude first, and a GIS may have properties of its own', () => {
    const { sites, terminals } = documentOf(
      collection(point({ ID: 'a/1', Site: 'a', recordedphase: 'A', OBJECTID: 7, owner: 'x' }, [8.25, 47.5])),
    );
    expect(sites![0]!.position).to.deep.equal({ lat: 47.5, lon: 8.25 });
    expect(terminals).to.deep.equal([{ id: 'a/1', site: 'a', recordedPhase: 'A' }]);
  });

  it('names the feature or row, and what would be right', () => {
    const problemsOf = (text: string) => {
      const read = readNetwork({ text });
      return read.ok ? [] : read.problems;
    };
    expect(problemsOf(collection(point({ id: 'a/1', site: 'a', connection: 'delta' }, [8, 47])))).to.deep.equal([
      'features[0]: connection is "delta"; expected one of phase-neutral, phase-neutral-reversed, phase-phase, phase-phase-reversed',
    ]);
    expect(problemsOf(collection(point({ id: 'a/1', site: 'a' }, [8, 147])))).to.deep.equal([
      'features[0]: lat is "147"; expected degrees from -90 to 90 with a point',
    ]);
    const line = { type: 'Feature', properties: { id: 'a/1' }, geometry: { type: 'LineString', coordinates: [] } };
    expect(problemsOf(collection(line))).to.deep.equal([
      'features[0]: geometry is a LineString; expected a Point, or null where the place is not known',
    ]);
    expect(problemsOf('{"type":"FeatureCollection"}')).to.deep.equal([
      '/features: is not a list; expected the features of the collection',
    ]);
    expect(problemsOf('id,site,lat,lon\na/1,a,47.5,\n')).to.deep.equal([
      'row 2: only one of lat and lon is given; expected both or neither',
    ]);
  });
});
