import { expect } from 'chai';
import type { Correction, Trace } from '../../lib';
import { CaseFile } from '../../lib/feeder/case-file';
import { acceptedAgainstDocument } from '../../lib/feeder/io/against-document';
import type { CimPlaces } from '../../lib/feeder/io/cim';
import { cimCorrections } from '../../lib/feeder/io/cim-corrections';
import { correctionsCsv } from '../../lib/feeder/io/corrections-csv';
import { traceGeoJson } from '../../lib/feeder/io/geojson-write';
import { problemsOf } from '../../lib/validate';
import { angle, feederOf, identificationAt, trunk } from '../kit/feeder-trunk';

const at = (minute: number) => `2026-05-04T10:${String(minute).padStart(2, '0')}:00.000000Z`;
const BELOW = ['m7', 'm8', 'm9', 'm10', 'm11', 'm12'];

/** Where a model keeps the phases of m9, by phase object; and of m10, by PhaseCode. */
const places: CimPlaces = {
  phaseObjects: new Map([
    ['m9', new Map([...'ABC'].map((p) => [p, { about: `#m9-${p}`, type: 'ACLineSegmentPhase' }] as const))],
  ]),
  terminals: new Map([['m10', [{ about: '#m10', code: 'ABC' }]]]),
};

/** All six labels below the joint were accepted as BAC; then m9 and m12 read otherwise. */
function accepted(later?: string) {
  const file = new CaseFile(feederOf(trunk()));
  const read = (k: number, phases: string, minute = 0) => {
    [...phases].forEach((really, i) => {
      file.take(identificationAt(`t${k}${'ABC'[i]}`, angle(really), at(minute)));
    });
  };
  const decide = (section: string, decision: 'accepted' | 'refused', minute: number) =>
    file.take(file.decide(file.run(), { section, decision, by: 'planner' }, at(minute)) as Correction);
  for (const k of [3, 6]) read(k, 'ABC');
  for (const k of [9, 12]) read(k, 'BAC');
  const before = file.run();
  for (const section of BELOW) {
    file.take(file.decide(before, { section, decision: 'accepted', by: 'planner' }, at(20)) as Correction);
  }
  if (later) for (const k of [9, 10, 12]) read(k, later, 30);
  const run = () => file.run();
  const record = (): Trace => file.record()!;
  return { run, record, decide };
}
const row = (csv: string, section: string) => csv.split('\r\n').find((line) => line.startsWith(`${section},`));
const ofMap = (f: ReturnType<typeof accepted>, section: string) =>
  traceGeoJson(f.run()).features.find((x) => x.properties!.id === section)!.properties!;
const changed = (xml: string) =>
  [...xml.matchAll(/about="#(m9-\w)"[^<]*<[^#]*#([\w.]+)"/g)].map((m) => `${m[1]} ${m[2]}`);
const acceptedIn = (trace: Trace, section: string) => trace.accepted!.find((d) => d.section === section)!;

describe('a correction that was accepted', () => {
  it('while nothing contradicts it: every file has the document beside what was accepted', () => {
    const f = accepted();
    const trace = f.record();
    expect(acceptedIn(trace, 'm9').contradicted).to.equal(undefined);
    const groups = acceptedAgainstDocument(trace);
    expect(row(correctionsCsv(trace, groups), 'm9')).to.match(/^m9,A B C,B A C,ABC,B A C,/);
    const { xml, notExpressible } = cimCorrections(trace, places, groups);
    expect(changed(xml)).to.have.members([
      'm9-A SinglePhaseKind.A',
      'm9-B SinglePhaseKind.B',
      'm9-A SinglePhaseKind.B',
      'm9-B SinglePhaseKind.A',
    ]);
    expect(notExpressible).to.include('m10');
    expect(ofMap(f, 'm9')).to.deep.include({
      recorded: ['A', 'B', 'C'],
      accepted: ['B', 'A', 'C'],
      contradicted: false,
    });
    expect(ofMap(f, 'm3')).not.to.have.property('accepted');
  });

  it('and that readings bring back to the document: told as contradicted, in no file of what was accepted, and no change of the model', () => {
    const f = accepted('ABC');
    const trace = f.record();
    expect(problemsOf('trace', trace)).to.deep.equal([]);
    expect(acceptedIn(trace, 'm9')).to.deep.include({
      contradicted: true,
      recorded: ['A', 'B', 'C'],
      phases: ['B', 'A', 'C'],
    });
    expect(row(correctionsCsv(trace, acceptedAgainstDocument(trace)), 'm9')).to.equal(undefined);
    expect(row(correctionsCsv(trace), 'm9')).to.match(/^m9,A B C,A B C,ABC,B A C,/);
    const { xml, notExpressible } = cimCorrections(trace, places);
    expect(changed(xml)).to.deep.equal([]);
    expect(notExpressible).not.to.include('m9');
    expect(ofMap(f, 'm9')).to.deep.include({
      recorded: ['A', 'B', 'C'],
      accepted: ['B', 'A', 'C'],
      contradicted: true,
      phases: ['A', 'B', 'C'],
    });
  });

  it('and that readings make a third order of: the files go from the document to that order, in one step', () => {
    const f = accepted('CBA');
    const trace = f.record();
    expect(acceptedIn(trace, 'm9').contradicted).to.equal(true);
    expect(row(correctionsCsv(trace), 'm9')).to.match(/^m9,A B C,C B A,ABC,B A C,/);
    expect(changed(cimCorrections(trace, places).xml)).to.have.members([
      'm9-A SinglePhaseKind.A',
      'm9-C SinglePhaseKind.C',
      'm9-A SinglePhaseKind.C',
      'm9-C SinglePhaseKind.A',
    ]);
  });

  it('stands again, in every file, once a person refuses what contradicts it', () => {
    const f = accepted('ABC');
    f.decide('m9', 'refused', 40);
    const trace = f.record();
    expect(acceptedIn(trace, 'm9').contradicted).to.equal(undefined);
    expect(row(correctionsCsv(trace), 'm9')).to.equal(undefined);
    expect(row(correctionsCsv(trace, acceptedAgainstDocument(trace)), 'm9')).to.match(/^m9,A B C,B A C,/);
    expect(ofMap(f, 'm9')).to.deep.include({ accepted: ['B', 'A', 'C'], contradicted: false });
  });

  it('is past once a person accepts what contradicts it', () => {
    const f = accepted('ABC');
    f.decide('m9', 'accepted', 40);
    const trace = f.record();
    expect(trace.accepted!.map((d) => d.section)).not.to.include('m9');
    expect(row(correctionsCsv(trace), 'm9')).to.equal(undefined);
    expect(ofMap(f, 'm9')).not.to.have.property('accepted');
  });
});
