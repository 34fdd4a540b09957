import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { gunzipSync } from 'node:zlib';
import { expect } from 'chai';
import { readFeederCsv } from '../../lib/feeder/io/csv';
import { writeFeederCsv } from '../../lib/feeder/io/csv-write';
import { readFeeder, readFeederJson } from '../../lib/feeder/io/document';
import { readFeederGeoJson } from '../../lib/feeder/io/geojson';
import { traceGeoJson } from '../../lib/feeder/io/geojson-write';
import { readPublished } from '../../lib/feeder/io/published';
import type { FeederRead } from '../../lib/feeder/io/read';
import { image } from '../../lib/feeder/permutation';
import { traceFeeder } from '../../lib/feeder/trace';
import { csv } from '../outside/data';

function text(name: string): string {
  const bytes = readFileSync(join(__dirname, '../outside/data', name));
  return (name.endsWith('.gz') ? gunzipSync(bytes) : bytes).toString();
}

const published = (name: string, source?: string, end = 'csv'): FeederRead =>
  readPublished(
    {
      lines: text(`${name}_lines.${end}`),
      loads: text(`${name}_loads.${end}`),
      transformers: text(`${name}_transformers.${end}`),
    },
    { id: name, ...(source ? { source } : {}) },
  );

function taken(read: FeederRead) {
  if (!read.ok) throw new Error(read.problems.join('\n'));
  return read;
}
const problemsOf = (read: FeederRead): readonly string[] => (read.ok ? [] : read.problems);

/** Phases at each node of the independent solution: what its solver found energized there. */
const solvedPhases = (name: string): Map<string, string> => {
  const rows = Map.groupBy(csv(`${name}_solved_opendss.csv`), (r) => r.node!);
  return new Map(
    [...rows].map(([node, r]) => [
      node,
      r
        .map((x) => x.phase)
        .sort()
        .join(''),
    ]),
  );
};

describe('published test feeders', () => {
  for (const name of ['ieee13', 'ieee34']) {
    it(`${name}: the conductors that reach each node are those of the independent solution`, () => {
      const { feeder } = taken(published(name));
      const solved = solvedPhases(name);
      let nodes = 0;
      for (const [node, v] of feeder.feeding) {
        if (v === 0) continue;
        const here = [0, 1, 2].filter((j) => (feeder.mask[v]! >> j) & 1).map((j) => 'ABC'[j]);
        expect(here.join(''), node).to.equal(solved.get(node));
        nodes++;
      }
      expect(nodes).to.equal(solved.size - 1);
      expect(feeder.unfed).to.deep.equal([]);
    });
  }

  it('ieee123: radial with its open switches open; they are ties of the feeder', () => {
    const { feeder, document } = taken(published('ieee123'));
    expect(feeder.loops).to.deep.equal([]);
    expect(feeder.unfed).to.deep.equal([]);
    expect(feeder.openTies.map((t) => t.id)).to.deep.equal(['sw7', 'sw8']);
    expect(document.loads!.length).to.equal(csv('ieee123_loads.csv').length);
    // The printed total of the published feeder, from memory: 3490 kW.
    expect(document.loads!.reduce((sum, l) => sum + l.kw, 0)).to.equal(3490);
  });

  it('ieee8500: every service leg stands where the independent solution has it', function () {
    this.timeout(20_000);
    const { feeder } = taken(published('ieee8500unbal', undefined, 'csv.gz'));
    expect(feeder.loops).to.deep.equal([]);
    const legs = csv('ieee8500unbal_solved_opendss.csv.gz').filter((r) => r.secondary_leg !== '');
    let found = 0;
    for (const leg of legs) {
      const terminal = feeder.terminals.get(`${leg.node}/${leg.secondary_leg}`);
      if (!terminal) continue;
      found++;
      expect(feeder.phases[image(0, terminal.conductor)], leg.node).to.equal(leg.phase);
      expect(terminal.reversed).to.equal(leg.secondary_leg === 's2');
    }
    expect(found).to.equal(csv('ieee8500unbal_loads.csv.gz').length);
  });

  it('names the row of a table that cannot be used', () => {
    const tables = { lines: 'name,from,to\na,1,2', loads: text('ieee13_loads.csv'), transformers: '' };
    expect(problemsOf(readPublished(tables, { id: 'x' }))[0]).to.match(/^lines row 1: column phases, is_switch/);
  });
});

describe('feeder documents', () => {
  it('go through CSV and JSON unchanged', () => {
    for (const name of ['ieee13', 'ieee34', 'ieee123']) {
      const { document, feeder } = taken(published(name));
      const back = taken(readFeederCsv(writeFeederCsv(document), { id: name, source: document.source }));
      expect(back.document, name).to.deep.equal(document);
      expect(taken(readFeederJson(JSON.stringify(document))).feeder.ids).to.deep.equal(feeder.ids);
    }
  });

  it('tell which row of a CSV is wrong and what would be right', () => {
    const rows = 'id,from,to,phases,kind,lengthM\na,n0,n1,ABC,,x1\nb,n1,n2,AD,,\nc,n1,n3,A,cabel,';
    const [first] = problemsOf(readFeederCsv(rows, { id: 'F' }));
    expect(first).to.equal('sections row 2: lengthM is "x1"; expected a number with a point, e.g. 12.5');
    const rest = problemsOf(readFeederCsv(rows.replace('x1', '1'), { id: 'F' }));
    expect(rest.join('\n')).to.contain(
      'sections row 3 (b): phases ["A","D"]: expected one to three different ones of A, B, C',
    );
    expect(rest.join('\n')).to.contain('sections row 4 (c): kind cabel: expected one of span');
    expect(problemsOf(readFeederCsv('', { id: 'F' }))[0]).to.match(/no table of sections/);
    expect(problemsOf(readFeederCsv('id;from;to;phases;colour\n', { id: 'F' }))[0]).to.match(/unknown columns colour/);
    expect(problemsOf(readFeeder({ id: 'F', source: 'n0' }))).to.deep.equal([
      '/sections: is missing; expected a member sections',
    ]);
  });

  it('name the row of a CSV also where switches and transformers stand between', () => {
    const rows = [
      'id,from,to,phases,kind,vectorGroup,state',
      'k,n0,n1,ABC,switch,,closed',
      't,n1,n2,ABC,transformer,Dyn2,',
      'a,n2,n3,AX,,,',
      '',
      'id,section,phases,kw',
      'L,a,B,3',
    ].join('\n');
    const told = problemsOf(readFeederCsv(rows, { id: 'F' }));
    expect(told.map((p) => p.slice(0, p.indexOf(':')))).to.deep.equal([
      'sections row 4 (a)',
      'sections row 3 (t)',
      'loads row 7 (L)',
    ]);
  });

  it('pass nothing over in a CSV that would change what conducts, turns or draws', () => {
    const told = (...rows: string[]) => problemsOf(readFeederCsv(rows.join('\n'), { id: 'F' })).join('\n');
    const head = 'id,from,to,phases,kind,vectorGroup,state,lengthM,lat,lon';
    expect(told(head, 'k,n0,n1,ABC,,,open')).to.equal(
      'sections row 2 (k): state is "open" but kind is ""; expected kind switch, or no state',
    );
    expect(told(head, 't,n0,n1,ABC,span,Dyn11')).to.match(
      /row 2 \(t\): vectorGroup is "Dyn11" .* expected kind transformer/,
    );
    expect(told(head, 'a,n0,n1,ABC,,,,,50,')).to.match(/lat is given without lon; expected both or neither/);
    expect(told(head, 'a,n0,n1,ABC,,,,,5540000,10')).to.match(/row 2 \(a\): lat 5540000, lon 10: expected degrees/);
    expect(told(head, 'a,n0,n1,ABC,,,,-3,,')).to.match(/row 2 \(a\): lengthM -3: expected metres, 0 or more/);
    expect(told('id,from,to,phases', 'a,n0,n1,A,B')).to.match(/^sections row 2: "B" stands under no column/);
    const loads = (row: string) => told('id,from,to,phases', 'a,n0,n1,AB', '', 'id,section,phases,kw', 'x,a,A,1', row);
    expect(loads('L,a,A,')).to.match(/^loads row 6 \(L\): kw is empty; expected kilowatts/);
    expect(loads('L,a,C,1')).to.match(/^loads row 6 \(L\): phases \["C"\]; expected ones of A, B$/);
    expect(loads('x,a,A,1')).to.match(/^loads row 6 \(x\): id is used twice/);
  });

  it('are refused as JSON where an open switch stands among the sections', () => {
    const section = { id: 'k', from: 'n0', to: 'n1', phases: ['A'] };
    const of = (row: object) => problemsOf(readFeeder({ id: 'F', source: 'n0', sections: [{ ...section, ...row }] }));
    expect(of({ closed: false })).to.deep.equal(['sections[0] (k): closed: expected only under switches']);
    expect(of({ vectorGroup: 'Dyn1' })).to.deep.equal([
      'sections[0] (k): vectorGroup: expected only under transformers',
    ]);
  });

  it('come from lines on a map that meet only by their place, and go back with what was found', () => {
    const line = (id: string, phases: string, coordinates: number[][]) => ({
      type: 'Feature',
      geometry: { type: 'LineString', coordinates },
      properties: { id, phases },
    });
    const map = {
      type: 'FeatureCollection',
      features: [
        line('b', 'AC', [
          [10.1, 50],
          [10.2, 50],
        ]),
        line('a', 'ABC', [
          [10, 50],
          [10.1, 50],
        ]),
      ],
    };
    const { feeder } = taken(readFeederGeoJson(map, { id: 'F', source: '10,50' }));
    expect(feeder.ids).to.deep.equal(['10,50', 'a', 'b']);
    const out = traceGeoJson(traceFeeder(feeder, []));
    expect(out.features.map((f) => f.geometry?.type)).to.deep.equal(['Point', 'LineString']);
    expect(out.features[1]!.properties).to.deep.include({ id: 'b', recorded: ['A', 'C'], phases: ['A', 'C'] });
    expect(problemsOf(readFeederGeoJson({}, { id: 'F', source: 'x' }))[0]).to.match(/^features is missing/);
    const bad = {
      features: [{ type: 'Feature', geometry: { type: 'LineString', coordinates: [[1, 2]] }, properties: {} }],
    };
    expect(problemsOf(readFeederGeoJson(bad, { id: 'F', source: 'x' }))).to.have.length(2);
  });
});
