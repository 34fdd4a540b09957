/** CIM models whose lines end either way round, with consumers by leg and by phase, and transformers of three windings. */
import { expect } from 'chai';
import { XMLParser } from 'fast-xml-parser';
import { readFeederCim } from '../../lib/feeder/io/cim';
import { CIM_XML_OPTIONS } from '../../lib/feeder/io/cim-objects';
import { CHANGE_PRIOR } from '../../lib/feeder/model';
import { figure, kind, of, ref, tankEnd, terminal } from './cim-text';

const parse = (text: string): unknown => new XMLParser(CIM_XML_OPTIONS).parse(text);
const line = (id: string, from: string, to: string, code: string) => [
  of('ACLineSegment', id),
  terminal(`${id}-1`, id, from, 1, code),
  terminal(`${id}-2`, id, to, 2, code),
];
/** On B, from n1 to n4. */
const CENTRE_TAP = [
  of('PowerTransformer', 'pot'),
  of('TransformerTank', 'can', ref('TransformerTank.PowerTransformer', 'pot')),
  tankEnd('can', 'e1', 1, 'BN', 'tp1'),
  tankEnd('can', 'e2', 2, 's1N', 'tp2'),
  tankEnd('can', 'e3', 3, 'Ns2', 'tp2'),
  terminal('tp1', 'pot', 'n1', 1),
  terminal('tp2', 'pot', 'n4', 2),
];
const consumer = (id: string, node: string, ...inner: string[]) => [
  of('EnergyConsumer', id, ...inner),
  terminal(`${id}-1`, id, node, 1),
];
const part = (of_: string, phase: string, ...inner: string[]) =>
  of(
    'EnergyConsumerPhase',
    `${of_}-${phase}`,
    ref('EnergyConsumerPhase.EnergyConsumer', of_),
    kind('EnergyConsumerPhase.phase', `SinglePhaseKind.${phase}`),
    ...inner,
  );
const read = (...objects: string[]) => {
  const nodes = ['n0', 'n1', 'n2', 'n4', 'n5'].map((n) => of('ConnectivityNode', n));
  const source = [of('EnergySource', 'grid'), terminal('tg', 'grid', 'n0', 1)];
  const all = [...nodes, ...source, ...line('trunk', 'n0', 'n1', 'ABC'), ...objects].join('');
  const names = 'xmlns:cim="http://iec.ch/TC57/CIM100#" xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"';
  const made = readFeederCim(`<rdf:RDF ${names}>${all}</rdf:RDF>`, parse, { id: 'F' });
  if (!made.ok) throw new Error(made.problems.join('\n'));
  return made;
};

describe('CIM models as they also come', () => {
  it('a line behind a centre tap that names its far end first has the phase of the primary', () => {
    const { document } = read(...CENTRE_TAP, ...line('drop', 'n5', 'n4', 's12N'), ...consumer('house', 'n5'));
    expect(document.sections[1]).to.deep.equal({ id: 'drop', from: 'n5', to: 'n4', phases: ['B'], kind: 'service' });
    expect(document.terminals).to.deep.equal([{ id: 'house/B', phase: 'B', site: 'n5', section: 'drop' }]);
  });

  it('a line with fewer conductors than what feeds it is a tap, with the prior of one', () => {
    const { document, feeder } = read(...line('lane', 'n1', 'n2', 'B'), ...line('end', 'n2', 'n5', 'B'));
    expect(document.sections.map((s) => [s.id, s.kind])).to.deep.equal([
      ['trunk', undefined],
      ['lane', 'tap'],
      ['end', undefined],
    ]);
    // Of one conductor the order must change oftener for the conductor to change so often: .02 / .72.
    expect(feeder.changePrior[feeder.indexOf.get('lane')!]).to.be.closeTo(CHANGE_PRIOR.tap / (1 - 0.28), 1e-6);
  });

  it('a consumer on the second leg of a centre tap is read opposite to the phase', () => {
    const { document } = read(...CENTRE_TAP, ...consumer('house', 'n4'), part('house', 's1'), part('house', 's2'));
    expect(document.terminals).to.deep.equal([
      { id: 'house/s1', phase: 'B', site: 'n4', section: 'can' },
      { id: 'house/s2', phase: 'B', site: 'n4', reversed: true, section: 'can' },
    ]);
  });

  it('no power of a consumer is lost: reactive, by phase, even and uneven', () => {
    const powers = (type: string, p: number, q: number) => [figure(`${type}.p`, p), figure(`${type}.q`, q)];
    const by = (p: number, q: number) => powers('EnergyConsumerPhase', p, q);
    const { document } = read(
      ...consumer('whole', 'n1', ...powers('EnergyConsumer', 6000, 1500)),
      ...consumer('uneven', 'n1', ...powers('EnergyConsumer', 3000, 300)),
      part('uneven', 'A', ...by(1000, 100)),
      part('uneven', 'C', ...by(2000, 200)),
      ...consumer('even', 'n1'),
      ...['A', 'B', 'C'].map((p) => part('even', p, ...by(500, 50))),
    );
    const on = { section: 'trunk' };
    expect(document.loads).to.deep.equal([
      { id: 'whole', phases: ['A', 'B', 'C'], kw: 6, kvar: 1.5, ...on },
      { id: 'uneven/A', phases: ['A'], kw: 1, kvar: 0.1, ...on },
      { id: 'uneven/C', phases: ['C'], kw: 2, kvar: 0.2, ...on },
      { id: 'even', phases: ['A', 'B', 'C'], kw: 1.5, kvar: 0.15000000000000002, ...on },
    ]);
  });

  it('a transformer of three windings feeds what hangs on both others', () => {
    const ends = ['D', 'Yn', 'D'].flatMap((connection, i) => [
      of(
        'PowerTransformerEnd',
        `w${i}`,
        ref('PowerTransformerEnd.PowerTransformer', 'sub'),
        kind('PowerTransformerEnd.connectionKind', `WindingConnection.${connection}`),
        figure('PowerTransformerEnd.phaseAngleClock', i === 1 ? 1 : 0),
        figure('TransformerEnd.endNumber', i + 1),
        ref('TransformerEnd.Terminal', `ts${i}`),
      ),
      terminal(`ts${i}`, 'sub', ['n1', 'n2', 'n4'][i]!, i + 1),
    ]);
    const { document, feeder } = read(of('PowerTransformer', 'sub'), ...ends, ...line('x', 'n4', 'n5', 'ABC'));
    expect(document.transformers!.map((t) => [t.id, t.from, t.to, t.vectorGroup])).to.deep.equal([
      ['sub', 'n1', 'n2', 'Dyn1'],
      ['sub/3', 'n1', 'n4', 'Dd0'],
    ]);
    expect(feeder.unfed).to.deep.equal([]);
  });
});
