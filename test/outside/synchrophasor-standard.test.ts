/**
 * The worked examples of IEEE C37.118.2-2011, annex D: a CFG-2 frame and a data frame of it. From memory of the standard; the check words
 * printed there (D5D1 and D43F) hold for these bytes, which a slip of memory would not survive.
 */
import { expect } from 'chai';
import {
  type ConfigFrame,
  type DataFrame,
  decodeFrame,
  encodeFrame,
  frequencyOf,
  phasorOf,
} from '../../lib/synchrophasor';

const hex = (text: string) => Buffer.from(text.replace(/\s/g, ''), 'hex');
const names = (...list: readonly string[]) => Buffer.from(list.map((n) => n.padEnd(16)).join(''));

const CONFIG = Buffer.concat([
  hex('AA31 01C6 1E36 448527F0 56071098 000F4240 0001'),
  names('Station A'),
  hex('1E36 0004 0004 0003 0001'),
  names('VA', 'VB', 'VC', 'I1', 'ANALOG1', 'ANALOG2', 'ANALOG3'),
  names(...[...'123456789ABCDEFG'].map((c) => `BREAKER ${c} STATUS`)),
  hex('000DF847 000DF847 000DF847 0100B2D0 00000001 01000001 02000001 0000FFFF 0000 0016 001E D5D1'),
]);
const DATA = hex(
  'AA01 0034 1E36 44853600 000041B1 0000 392B0000 E36ACE7C E36A3183 04440000 09C4 0000 42C80000 447A0000 461C4000 3C12 D43F',
);

function decoded<T>(bytes: Uint8Array, config?: ConfigFrame): T {
  const result = decodeFrame(bytes, config);
  return result.ok ? (result.frame as T) : expect.fail(result.problem.what);
}

describe('the worked examples of IEEE C37.118.2-2011, annex D (from memory, check words as printed)', () => {
  const config = decoded<ConfigFrame>(CONFIG);
  const data = decoded<DataFrame>(DATA, config);
  const [pmu, values] = [config.pmus[0]!, data.pmus[0]!];

  it('CFG-2: one PMU, three voltages and a current, 30 frames a second', () => {
    expect([config.idCode, config.timeBase, config.dataRate, pmu.station]).to.deep.equal([7734, 1e6, 30, 'Station A']);
    expect(pmu.phasors.map((p) => [p.name, p.isCurrent, p.unit])).to.deep.equal([
      ['VA', false, 915_527],
      ['VB', false, 915_527],
      ['VC', false, 915_527],
      ['I1', true, 45_776],
    ]);
    expect([pmu.nominalHz, pmu.changes, pmu.digitals[0]!.valid]).to.deep.equal([60, 22, 0xffff]);
    expect(pmu.digitals[0]!.names[9]).to.equal('BREAKER A STATUS');
  });

  it('data: 134.0 kV at 0, -120 and 120 degrees, 500 A, 62.5 Hz, analogs 100, 1000 and 10000', () => {
    const phasors = [0, 1, 2, 3].map((i) => phasorOf(pmu, values, i)!);
    for (const [i, angleDeg] of [0, -120, 120].entries()) {
      expect(phasors[i]!.magnitude).to.be.closeTo(134_000, 50);
      expect(phasors[i]!.angleDeg).to.be.closeTo(angleDeg, 0.01);
    }
    expect(phasors[3]!.magnitude).to.be.closeTo(500, 0.5);
    expect(frequencyOf(pmu, values)).to.equal(62.5);
    expect([...values.analogs, values.digitals[0]]).to.deep.equal([100, 1000, 10_000, 0x3c12]);
    expect(data.time).to.deep.equal({ soc: Date.UTC(2006, 5, 6, 8) / 1000, fraction: 16_817, quality: 0 });
  });

  it('both are written again byte for byte', () => {
    expect(Buffer.from(encodeFrame(config)).toString('hex')).to.equal(CONFIG.toString('hex'));
    expect(Buffer.from(encodeFrame(data, config)).toString('hex')).to.equal(DATA.toString('hex'));
  });
});
