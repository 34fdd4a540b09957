import { once } from 'node:events';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect } from 'chai';
import { XMLParser } from 'fast-xml-parser';
import { RdfXmlParser } from 'rdfxml-streaming-parser';
import type { Trace } from '../../lib';
import { readFeederCim } from '../../lib/feeder/io/cim';
import { cimCorrections } from '../../lib/feeder/io/cim-corrections';
import { CIM_XML_OPTIONS } from '../../lib/feeder/io/cim-objects';

const BASE = 'urn:model';
const CIM = 'http://iec.ch/TC57/CIM100#';
type Triple = readonly [about: string, property: string, value: string];

/** The statements of RDF/XML as a general RDF library reads them (rdfxml-streaming-parser; W3C RDF 1.1 XML Syntax). */
async function triples(xml: string): Promise<Triple[]> {
  const parser = new RdfXmlParser({ baseIRI: BASE });
  const found: Triple[] = [];
  parser.on('data', ({ subject, predicate, object }) => {
    found.push([subject.value, predicate.value.replace(CIM, ''), object.value.replace(CIM, '')]);
  });
  const ended = once(parser, 'end');
  parser.end(xml);
  await ended;
  return found;
}

const excerpt = readFileSync(join(__dirname, '../outside/data/cim_ieee13_excerpt.xml'), 'utf8');
const read = () => {
  const got = readFeederCim(excerpt, (text) => new XMLParser(CIM_XML_OPTIONS).parse(text), {
    id: 'F',
    source: '6CB5E5CE-2CD0-40CC-A979-B4F9ED05E49B',
  });
  if (!got.ok) throw new Error(got.problems.join('\n'));
  return got;
};

describe('CIM beside a general RDF library', () => {
  it('reads the same lines, phases, lengths and ends from a public model', async () => {
    const all = await triples(excerpt);
    const of = (about: string, property: string) =>
      all.filter((t) => t[0] === about && t[1] === property).map((t) => t[2]);
    const to = (property: string, value: string) =>
      all.filter((t) => t[1] === property && t[2] === value).map((t) => t[0]);
    const lines = all.filter((t) => t[1].endsWith('#type') && t[2] === 'ACLineSegment').map((t) => t[0]);
    const { document } = read();
    expect(document.sections.length).to.equal(lines.length).and.to.be.above(2);
    for (const line of lines) {
      const [name] = of(line, 'IdentifiedObject.name');
      const section = document.sections.find((s) => s.id === name)!;
      const phases = to('ACLineSegmentPhase.ACLineSegment', line).flatMap((p) => of(p, 'ACLineSegmentPhase.phase'));
      expect(
        section.phases.map((p) => `SinglePhaseKind.${p}`),
        name,
      ).to.have.members(phases);
      expect(section.lengthM, name).to.equal(Number(of(line, 'Conductor.length')[0]));
      const nodes = to('Terminal.ConductingEquipment', line).flatMap((t) => of(t, 'Terminal.ConnectivityNode'));
      expect(nodes.length, name).to.equal(2);
      const ends = nodes.map((n) => of(n, 'IdentifiedObject.name')[0] ?? n.replace(/^.*#_?/, ''));
      expect([section.from, section.to], name).to.have.members(ends);
    }
  });

  it('writes differences whose statements before are those of the model, and after are the corrected ones', async () => {
    const { places } = read();
    const labels = [
      { section: '632645', recorded: ['C', 'B'], phases: ['C', 'A'], probability: 0.98 },
      { section: '632633', recorded: ['A', 'B', 'C'], phases: ['B', 'A', 'C'], probability: 0.98 },
    ];
    const trace = {
      id: 'tr-1',
      at: '2026-05-04T10:00:00.000000Z',
      feeder: 'F',
      corrections: [{ labels }],
    } as unknown as Trace;
    const { xml } = cimCorrections(trace, places!);
    // The statements stand inside a literal (parseType "Statements" of IEC 61970-552): they are read as RDF/XML of their own.
    const statements = async (which: string) => {
      const [, inner] = new RegExp(`<dm:${which} rdf:parseType="Statements">(.*?)</dm:${which}>`, 's').exec(xml)!;
      return triples(
        `<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#" xmlns:cim="${CIM}">${inner}</rdf:RDF>`,
      );
    };
    const [before, after, model] = [
      await statements('reverseDifferences'),
      await statements('forwardDifferences'),
      await triples(excerpt),
    ];
    expect(before.length).to.equal(3);
    for (const t of before) expect(model.map((m) => m.join(' '))).to.include(t.join(' '));
    expect(after.map((t) => t.slice(0, 2))).to.deep.equal(before.map((t) => t.slice(0, 2)));
    expect(after.map((t) => t[2].slice(-1)).sort()).to.deep.equal(['A', 'A', 'B']);
    expect((await triples(xml)).length, 'the whole is RDF').to.be.above(3);
  });
});
