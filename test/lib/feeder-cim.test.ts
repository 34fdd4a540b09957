import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect } from 'chai';
import { XMLParser } from 'fast-xml-parser';
import type { Trace } from '../../lib';
import { readFeederCim } from '../../lib/feeder/io/cim';
import { cimCorrections, phaseCode } from '../../lib/feeder/io/cim-corrections';
import { CIM_XML_OPTIONS } from '../../lib/feeder/io/cim-objects';
import { correctionsCsv } from '../../lib/feeder/io/corrections-csv';
import { csv } from '../outside/data';
import { kind, of, ref, tankEnd, terminal } from './cim-text';

const parse = (text: string): unknown => new XMLParser(CIM_XML_OPTIONS).parse(text);
const excerpt = readFileSync(join(__dirname, '../outside/data/cim_ieee13_excerpt.xml'), 'utf8');
const HEAD = '6CB5E5CE-2CD0-40CC-A979-B4F9ED05E49B';

const taken = (text: string, source?: string) => {
  const read = readFeederCim(text, parse, { id: 'F', ...(source ? { source } : {}) });
  if (!read.ok) throw new Error(read.problems.join('\n'));
  return read;
};
const problemsOf = (text: string, source?: string) => {
  const read = readFeederCim(text, parse, { id: 'F', ...(source ? { source } : {}) });
  return read.ok ? [] : read.problems;
};

const model = (...objects: string[]) =>
  `<rdf:RDF xmlns:cim="http://iec.ch/TC57/CIM100#" xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">${objects.join('')}</rdf:RDF>`;
const whole = model(
  ...['_n0', '_n1', '_n2', '_n3', '_n4', '_n5'].map((n) => of('ConnectivityNode', n)),
  of('EnergySource', '_grid'),
  terminal('_tg', '_grid', '_n0', 1),
  of('PowerTransformer', '_sub'),
  ...[1, 2].map((n) =>
    of(
      'PowerTransformerEnd',
      `_sub${n}`,
      ref('PowerTransformerEnd.PowerTransformer', '_sub'),
      kind('PowerTransformerEnd.connectionKind', n === 1 ? 'WindingConnection.D' : 'WindingConnection.Yn'),
      `<cim:PowerTransformerEnd.phaseAngleClock>${n === 1 ? 0 : 1}</cim:PowerTransformerEnd.phaseAngleClock>`,
      `<cim:TransformerEnd.endNumber>${n}</cim:TransformerEnd.endNumber>`,
      ref('TransformerEnd.Terminal', `_ts${n}`),
    ),
  ),
  terminal('_ts1', '_sub', '_n0', 1),
  terminal('_ts2', '_sub', '_n1', 2),
  of('LoadBreakSwitch', '_sw', '<cim:Switch.normalOpen>false</cim:Switch.normalOpen>'),
  terminal('_tw1', '_sw', '_n1', 1, 'ABC'),
  terminal('_tw2', '_sw', '_n2', 2, 'ABC'),
  of('ACLineSegment', '_tap'),
  terminal('_tt1', '_tap', '_n2', 1, 'BN'),
  terminal('_tt2', '_tap', '_n3', 2, 'BN'),
  of('PowerTransformer', '_pot'),
  of('TransformerTank', '_can', ref('TransformerTank.PowerTransformer', '_pot')),
  tankEnd('_can', '_e1', 1, 'BN', '_tp1'),
  tankEnd('_can', '_e2', 2, 's1N', '_tp2'),
  tankEnd('_can', '_e3', 3, 'Ns2', '_tp2'),
  terminal('_tp1', '_pot', '_n3', 1),
  terminal('_tp2', '_pot', '_n4', 2),
  of('ACLineSegment', '_drop'),
  terminal('_td1', '_drop', '_n4', 1, 's12N'),
  terminal('_td2', '_drop', '_n5', 2, 's12N'),
  of('EnergyConsumer', '_house', '<cim:EnergyConsumer.p>4200</cim:EnergyConsumer.p>'),
  terminal('_th', '_house', '_n5', 1),
);

describe('feeders in CIM', () => {
  it('reads three lines of the IEEE 13-node feeder from a public model as the table of the same feeder has them', () => {
    const { document } = taken(excerpt, HEAD);
    const table = new Map(csv('ieee13_lines.csv').map((r) => [r.name, r]));
    expect(document.sections.map((s) => s.id)).to.deep.equal(['632633', '632645', '645646']);
    for (const s of document.sections) {
      const row = table.get(s.id)!;
      expect([...s.phases].sort()).to.deep.equal([...row.phases!].sort());
      expect(s.lengthM).to.be.closeTo(Number(row.length) * 0.3048, 1e-9);
    }
  });

  it('reads source, vector group, switch, centre tap and consumer of a small model', () => {
    const { document, feeder } = taken(whole);
    expect(document.source).to.equal('n0');
    expect(document.transformers).to.deep.equal([
      { id: 'sub', from: 'n0', to: 'n1', phases: ['A', 'B', 'C'], vectorGroup: 'Dyn1' },
      { id: 'can', from: 'n3', to: 'n4', phases: ['B'], vectorGroup: 'centre-tap' },
    ]);
    expect(document.switches).to.deep.equal([
      { id: 'sw', from: 'n1', to: 'n2', phases: ['A', 'B', 'C'], closed: true },
    ]);
    expect(document.sections.map((s) => [s.id, ...s.phases])).to.deep.equal([
      ['tap', 'B'],
      ['drop', 'B'],
    ]);
    expect(document.loads).to.deep.equal([{ id: 'house', section: 'drop', phases: ['B'], kw: 4.2 }]);
    expect(feeder.unfed).to.deep.equal([]);
  });

  it('takes a bank to neutral for one that turns nothing, and a delta bank without a vector group for unknown', () => {
    const bank = (code: string) =>
      whole
        .replaceAll('PhaseCode.s1N', `PhaseCode.${code}`)
        .replaceAll('PhaseCode.Ns2', `PhaseCode.${code}`)
        .replaceAll('s12N', 'BN');
    const groupOf = (text: string) => taken(text).document.transformers!.find((t) => t.id === 'pot')!.vectorGroup;
    expect(groupOf(bank('BN'))).to.equal('YNyn0');
    expect(groupOf(bank('BC'))).to.equal('unknown');
  });

  it('says what it lacks', () => {
    expect(problemsOf(excerpt)[0]).to.match(/^EnergySource: there are 0/);
    expect(
      problemsOf(
        whole
          .replace('rdf:ID="_tt2"', 'rdf:ID="_tt2x"')
          .replace(/<cim:Terminal rdf:ID="_tt2x">.*?<\/cim:Terminal>/, ''),
      )[0],
    ).to.equal('ACLineSegment tap: has 1 terminals with a ConnectivityNode; expected two, one for each end');
    expect(problemsOf('<html/>')[0]).to.match(/no element rdf:RDF/);
  });

  const label = (section: string, recorded: string, phases: string) => ({
    section,
    recorded: [...recorded],
    phases: [...phases],
    probability: 0.98,
  });
  const trace = (...labels: ReturnType<typeof label>[]): Trace => ({
    ...({} as Trace),
    kind: 'trace',
    id: 'tr-1',
    at: '2026-05-04T10:00:00.000000Z',
    feeder: 'F & G',
    caution: 'verify',
    corrections: [{ cause: { section: 'x', probability: 0.9, change: 'A and B swapped, "so"' }, labels, from: [] }],
  });

  it('writes corrections as a difference that a general XML parser reads back', () => {
    const read = taken(excerpt, HEAD);
    const out = cimCorrections(trace(label('632645', 'CB', 'CA'), label('632633', 'ABC', 'BAC')), read.places!);
    expect(out.changes).to.equal(3);
    const rdf = (parse(out.xml) as { RDF: Record<string, Record<string, Record<string, unknown[]>>> }).RDF;
    const model = rdf.DifferenceModel!;
    const after = model.forwardDifferences!.Description as Record<string, string | Record<string, string>>[];
    const before = model.reverseDifferences!.Description as Record<string, unknown>[];
    expect(before.length).to.equal(3);
    expect(
      after.map((d) => [d['@about'], (d['ACLineSegmentPhase.phase'] as Record<string, string>)['@resource']]),
    ).to.deep.equal([
      ['#_D9C9CEA6-B3F0-4E02-9911-3DFA192B4D01', 'http://iec.ch/TC57/CIM100#SinglePhaseKind.A'],
      ['#_18F23724-C3EE-498E-96A7-98FE210A523C', 'http://iec.ch/TC57/CIM100#SinglePhaseKind.B'],
      ['#_30E5A294-2F25-480D-BDDA-777F59ED5AF3', 'http://iec.ch/TC57/CIM100#SinglePhaseKind.A'],
    ]);
  });

  it('writes PhaseCode where the model has only that, and tells what a code cannot say', () => {
    const { places } = taken(whole);
    const out = cimCorrections(trace(label('tap', 'B', 'C'), label('sw', 'ABC', 'BAC')), places!);
    // The terminals of the model are BN: its own code is taken back, and the neutral stays.
    const codes = [...out.xml.matchAll(/Terminal\.phases rdf:resource="[^"]*#(PhaseCode\.\w+)"/g)].map((m) => m[1]);
    expect(codes).to.deep.equal(['PhaseCode.BN', 'PhaseCode.BN', 'PhaseCode.CN', 'PhaseCode.CN']);
    expect(cimCorrections(trace(label('tap', 'A', 'C')), places!).notExpressible).to.deep.equal(['tap']);
    expect(out.notExpressible).to.deep.equal(['sw']);
    expect(out.xml).to.contain(
      'Feeder F &amp; G. Not in this difference, since the model has no place for it: sw: A B C is B A C. verify',
    );
    expect(cimCorrections(trace(label('tap', 'B', 'C')), places!).xml).to.contain('Feeder F &amp; G. verify');
    expect(cimCorrections(trace(label('tap', 'B', 'C')), places!, []).changes).to.equal(0);
  });

  it('makes only codes that IEC 61970-301 has', () => {
    // Codes: cim_phasecode.csv, its source beside it.
    const codes = new Set(csv('cim_phasecode.csv').map((r) => r.code));
    for (const phases of ['A', 'B', 'C', 'BA', 'CA', 'CB', 'BCA']) {
      expect(codes.has(phaseCode([...phases])), phases).to.equal(true);
      expect(codes.has(phaseCode([...phases], true)), `${phases}N`).to.equal(true);
    }
  });

  it('writes a table of corrections with quotes where they are needed', () => {
    const [head, row] = correctionsCsv(trace(label('tap', 'B', 'C'))).split('\r\n');
    expect(head).to.match(/^section,recorded,phases,phaseCode/);
    expect(row).to.equal('tap,B,C,C,,0.9800,x,"A and B swapped, ""so""",0.9000,tr-1');
  });
});
