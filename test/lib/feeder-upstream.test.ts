import { expect } from 'chai';
import { evidenceFrom } from '../../lib/feeder/from-records';
import { makeFeeder } from '../../lib/feeder/model';
import { bestProjection, solve } from '../../lib/feeder/solve';
import { upstreamTurnDeg } from '../../lib/feeder/upstream';
import { identificationAt } from '../kit/feeder-trunk';

const ABC = ['A', 'B', 'C'] as const;
const feeder = makeFeeder({
  id: 'F',
  source: 'a',
  sections: [
    { id: 'line', from: 'a', to: 'b', phases: ABC, changePrior: 0.1 },
    { id: 'service', from: 'c', to: 'd', phases: ABC },
  ],
  transformers: [{ id: 'T', from: 'b', to: 'c', phases: ABC, vectorGroup: 'Dyn11' }],
  terminals: ABC.flatMap((phase) => [
    { id: `line/${phase}`, section: 'line', phase },
    { id: `service/${phase}`, section: 'service', phase },
  ]),
});
const [LINE, SERVICE] = ['line', 'service'].map((id) => feeder.indexOf.get(id)!) as [number, number];
const AT = '2026-05-04T10:00:00.000000Z';

/** Phasor arithmetic: the leg of a star below a delta is the voltage from its own leg to the next (Dyn11) or the one before (Dyn1). */
function belowDelta(above: readonly number[], group: 'Dyn1' | 'Dyn11'): number[] {
  const x = above.map((deg) => [Math.cos((deg * Math.PI) / 180), Math.sin((deg * Math.PI) / 180)] as const);
  return x.map(([re, im], leg) => {
    const [re2, im2] = x[(leg + (group === 'Dyn11' ? 1 : 2)) % 3]!;
    return (Math.atan2(im - im2, re - re2) * 180) / Math.PI;
  });
}

/** Angles at the feeder's source against a reference above a Dyn1 substation. */
const SOURCE_DEG = belowDelta([0, -120, 120], 'Dyn1');

const phasesAt = (section: number, found: ReturnType<typeof evidenceFrom>) =>
  bestProjection(solve(feeder, found), section);

describe('a feeder below a transformer that its reference stands above', () => {
  const read = (place: string, degrees: readonly number[]) =>
    ABC.map((phase, k) => identificationAt(`${place}/${phase}`, degrees[k]!, AT));

  it('reads A, B, C as A, B, C, at the line and behind the feeder’s own Dyn11 (source: phasor arithmetic)', () => {
    const line = evidenceFrom(feeder, read('line', SOURCE_DEG), { pathOf: () => ['Dyn1'] });
    expect(phasesAt(LINE, line)).to.include({ state: 0 });
    expect(phasesAt(LINE, line).probability).to.be.above(0.99);
    const below = read('service', belowDelta(SOURCE_DEG, 'Dyn11'));
    const service = evidenceFrom(feeder, below, { pathOf: () => ['Dyn1', 'Dyn11'] });
    expect(phasesAt(SERVICE, service)).to.include({ state: 0 });
    expect(phasesAt(SERVICE, service).probability).to.be.above(0.99);
  });

  it('sees two conductors that cross there', () => {
    const [a, b, c] = SOURCE_DEG as [number, number, number];
    const found = evidenceFrom(feeder, read('line', [b, a, c]), { pathOf: () => ['Dyn1'] });
    expect(phasesAt(LINE, found).state).to.be.above(2);
    expect(phasesAt(LINE, found).probability).to.be.above(0.9);
  });

  it('leaves the end of a path that names the feeder’s own transformers to the trace', () => {
    const turn = (section: number, ...path: string[]) => upstreamTurnDeg(feeder, section, path);
    expect(turn(LINE)).to.equal(0);
    expect(turn(LINE, 'Dyn1')).to.equal(30);
    expect(turn(SERVICE, 'Dyn1', 'Dyn11')).to.equal(30);
    expect(turn(SERVICE, 'Dyn1', 'YNyn0', 'unknown')).to.equal(30);
    // Named in no path, yet drawn on the feeder: then the path ends at the source.
    expect(turn(SERVICE, 'Dyn1')).to.equal(30);
    expect(turn(SERVICE, 'YNd5', 'Dyn1', 'Dyn11')).to.equal(-180);
  });

  it('takes nothing from an angle that passed a transformer of unknown vector group above the source', () => {
    expect(upstreamTurnDeg(feeder, LINE, ['unknown'])).to.equal(undefined);
    expect(evidenceFrom(feeder, read('line', SOURCE_DEG), { pathOf: () => ['unknown'] })).to.deep.equal([]);
  });
});
