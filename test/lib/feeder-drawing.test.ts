import { expect } from 'chai';
import fc from 'fast-check';
import { makeFeeder } from '../../lib/feeder/model';
import { evidenceNear, feederPicture } from '../../lib/feeder/picture';
import { conductorPhases, sectionLabel, traceFeeder } from '../../lib/feeder/trace';
import { drawTree, LaneIndex, type TreeDrawing } from '../../lib/feeder/tree-drawing';
import { trunk } from '../kit/feeder-trunk';

/** Trees in which each section is fed by one before it; `far` draws towards long runs. */
const trees = fc
  .array(fc.tuple(fc.double({ min: 0, max: 0.999, noNaN: true }), fc.boolean()), { minLength: 1, maxLength: 120 })
  .map((draws) => {
    const parent = [0];
    for (const [share, runsOn] of draws) parent.push(runsOn ? parent.length - 1 : Math.floor(share * parent.length));
    return { count: parent.length, parent };
  });

/** Unit steps of every line: `h` from a column to the next in a lane, `v` down from a lane to the next in a column. */
function steps({ column, lane, begins }: TreeDrawing, parent: readonly number[]) {
  const flat: string[] = [];
  const down: string[] = [];
  for (let v = 1; v < parent.length; v++) {
    const u = parent[v]!;
    flat.push(`${column[u]} ${lane[v]}`);
    if (begins[v]) for (let l = lane[u]!; l < lane[v]!; l++) down.push(`${column[u]} ${l} of ${u}`);
  }
  return { flat, down };
}

describe('the drawing of a feeder', () => {
  it('has every section one column after the one that feeds it, in the same lane or below', () => {
    fc.assert(
      fc.property(trees, (tree) => {
        const { column, lane, begins } = drawTree(tree);
        for (let v = 1; v < tree.count; v++) {
          expect(column[v]).to.equal(column[tree.parent[v]!]! + 1);
          expect(begins[v] === 1).to.equal(lane[v]! > lane[tree.parent[v]!]!);
        }
      }),
      { seed: 7, numRuns: 300 },
    );
  });

  it('lays no line on another, and crosses none', () => {
    fc.assert(
      fc.property(trees, (tree) => {
        const drawing = drawTree(tree);
        const { flat, down } = steps(drawing, tree.parent);
        expect(new Set(flat).size, 'lines along a lane').to.equal(flat.length);
        // Branches of one section share the line that comes down from it; of two sections they never do.
        const owners = new Map<string, string>();
        for (const d of down) {
          const [place, owner] = d.split(' of ') as [string, string];
          expect(owners.get(place) ?? owner).to.equal(owner);
          owners.set(place, owner);
        }
        // A line that comes down passes lanes in which no line runs through that column.
        const through = new Set(flat);
        for (let v = 1; v < tree.count; v++) {
          const u = tree.parent[v]!;
          if (!drawing.begins[v]) continue;
          for (let l = drawing.lane[u]! + 1; l < drawing.lane[v]!; l++) {
            const passes = through.has(`${drawing.column[u]! - 1} ${l}`) && through.has(`${drawing.column[u]} ${l}`);
            expect(passes, `section ${v} comes down across lane ${l}`).to.equal(false);
          }
        }
      }),
      { seed: 8, numRuns: 300 },
    );
  });

  it('finds what is in sight, and the nearest in a lane', () => {
    fc.assert(
      fc.property(trees, fc.nat(30), fc.nat(30), (tree, column, lane) => {
        const drawing = drawTree(tree);
        const index = new LaneIndex(drawing, tree.parent);
        const box = { firstColumn: column, lastColumn: column + 5, firstLane: lane, lastLane: lane + 3 };
        const found: number[] = [];
        index.each(box, (v) => found.push(v));
        const all = Array.from({ length: tree.count }, (_, v) => v);
        const inside = all.filter(
          (v) =>
            drawing.column[v]! >= column &&
            drawing.column[v]! <= column + 5 &&
            drawing.lane[v]! >= lane &&
            drawing.lane[v]! <= lane + 3,
        );
        expect(found.sort((a, b) => a - b)).to.deep.equal(inside);
        const drops: string[] = [];
        index.eachDrop(box, (c, from, upTo) => drops.push(`${c} ${from} ${upTo}`));
        const crossing = all
          .filter((v) => v > 0 && drawing.begins[v] === 1)
          .map((v) => [drawing.column[v]! - 1, drawing.lane[tree.parent[v]!]!, drawing.lane[v]!] as const)
          .filter(([c, from, upTo]) => c >= column && c <= column + 5 && from <= lane + 3 && upTo >= lane);
        expect(drops.sort()).to.deep.equal(crossing.map((d) => d.join(' ')).sort());
        const own = all.filter((v) => drawing.lane[v] === lane);
        const away = (v: number) => Math.abs(drawing.column[v]! - column);
        const nearest = index.nearest(column, lane);
        if (own.length === 0) expect(nearest).to.equal(-1);
        else expect(away(nearest)).to.equal(Math.min(...own.map(away)));
      }),
      { seed: 9, numRuns: 200 },
    );
  });

  it('stands ten thousand sections in a row without trouble', () => {
    const parent = Array.from({ length: 10_001 }, (_, v) => Math.max(0, v - 1));
    expect(drawTree({ count: 10_001, parent })).to.include({ columns: 10_001, lanes: 1 });
  });
});

describe('the picture of a trace', () => {
  const feeder = makeFeeder(trunk());
  const flat = (state: number) => Float64Array.from({ length: 6 }, (_, s) => (s === state ? 1 : 1e-4));
  const read = (id: string, state: number) => ({
    section: feeder.indexOf.get(id)!,
    from: [`pi-${id}`],
    likelihood: flat(state),
  });
  const trace = traceFeeder(feeder, [read('m3', 0), read('m9', 3), read('m12', 3)]);

  it('says of each section what the trace says of it', () => {
    const picture = feederPicture(trace);
    for (let v = 1; v < feeder.count; v++) {
      const phases = conductorPhases(trace, v);
      expect([0, 1, 2].map((j) => picture.phases[picture.likeliest[3 * v + j]!])).to.deep.equal(
        phases.map((p) => p.phase),
      );
      for (const [j, p] of phases.entries()) expect(picture.probability[3 * v + j]).to.be.closeTo(p.probability, 1e-4);
      expect(picture.together[v]).to.be.closeTo(sectionLabel(trace, v).probability, 1e-4);
    }
    expect(picture.measured.map((v) => picture.ids[v])).to.deep.equal(['m3', 'm9', 'm12']);
  });

  it('names the evidence next to a section, not what lies behind it', () => {
    const near = (id: string) => evidenceNear(trace, feeder.indexOf.get(id)!).map((e) => [e.section, e.steps]);
    expect(near('m7')).to.deep.equal([
      ['m9', 2],
      ['m3', 4],
    ]);
    expect(near('m9')).to.deep.equal([
      ['m9', 0],
      ['m12', 3],
      ['m3', 6],
    ]);
    expect(near('m1')).to.deep.equal([['m3', 2]]);
  });

  it('finds evidence round a closed loop too', () => {
    const looped = makeFeeder({
      ...trunk(),
      switches: [{ id: 'k', from: 'n3', to: 'n12', phases: ['A', 'B', 'C'], closed: true }],
    });
    const at12 = { ...read('m12', 3), section: looped.indexOf.get('m12')! };
    const found = evidenceNear(traceFeeder(looped, [at12]), looped.indexOf.get('m4')!);
    // Along the conductors m4 - m3 - k - m12 or m4 - m5 .. m12; both ways end at m12, told once, by the shorter.
    expect(found.map((e) => [e.section, e.steps])).to.deep.equal([['m12', 3]]);
  });
});
