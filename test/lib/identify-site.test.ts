import { expect } from 'chai';
import fc from 'fast-check';
import {
  ARRANGEMENTS,
  type ConductorReadings,
  type Connection,
  identifySite,
  makeFrame,
  minus,
  type Phasor,
  phasor,
  problemsOf,
  type Reading,
  type Terminal,
} from '../../lib';
import { read } from './readings';

const frame = makeFrame({ references: [{ id: 'ref' }] });
const NAMES = ['s/1', 's/2', 's/3'];
const PHASE_DEG = [0, -120, 120];
const codes = (f: { reasons: readonly { code: string }[] }) => f.reasons.map((r) => r.code);

type Over = Parameters<typeof read>[2];
const site = (angles: readonly (number | undefined)[], over: Over = {}): ConductorReadings[] =>
  angles.map((a, k) => ({ terminal: NAMES[k]!, readings: [read(NAMES[k]!, a, { atS: k, ...over })] }));
const records = (over: Partial<Terminal>) => new Map(NAMES.map((id) => [id, { id, ...over }]));

describe('identify a site', () => {
  for (const [a, arrangement] of ARRANGEMENTS.entries()) {
    const labels = arrangement.map((p) => frame.phases[p]!);
    it(`three conductors ${labels.join(' ')}`, () => {
      const found = identifySite(site(arrangement.map((p, k) => PHASE_DEG[p]! + 3 * k - 3)), frame);
      expect(found.permutation).to.deep.equal(labels);
      expect(found.sequence).to.equal(a < 3 ? 'ABC' : 'ACB');
      expect(found).to.include({ consistent: true });
      expect(found.reasons).to.deep.equal([]);
      for (const i of found.identifications) {
        expect(i).to.include({ verdict: 'confirmed', connection: 'phase-neutral' });
        expect(problemsOf('identification', i)).to.deep.equal([]);
      }
    });
  }

  it('two conductors: phases, but no sequence', () => {
    const found = identifySite(site([118, -2]), frame);
    expect(found.permutation).to.deep.equal(['C', 'A']);
    expect(found.sequence).to.equal(null);
  });

  it('takes plain readings, several of a terminal and in any order of time, and finds the same', () => {
    const conductors = site([1, -119, 121]);
    const again = read(NAMES[0]!, 2, { atS: 30 });
    const gathered = conductors.map((c, k) => (k === 0 ? { ...c, readings: [...c.readings, again] } : c));
    const plain = [...conductors.flatMap((c) => c.readings), again];
    expect(identifySite(plain, frame)).to.deep.equal(identifySite(gathered, frame));
  });

  it('one conductor is identified by itself', () => {
    expect(identifySite(site([118]), frame).permutation).to.deep.equal(['C']);
  });

  it('each record rests on all readings of the site', () => {
    const conductors = site([0, -120, 120]);
    const ids = conductors.flatMap((c) => c.readings.map((r) => (r as Reading).id));
    for (const i of identifySite(conductors, frame, { site: 's' }).identifications) {
      expect(i.from).to.have.members(ids);
      expect(i.site).to.equal('s');
    }
  });

  it('together they decide where each alone could not', () => {
    const noisy = site([38, -95, 92], { sigmaDeg: 18 });
    const loose = makeFrame({ references: [{ id: 'ref' }], driftSdDeg: 3 });
    expect(identifySite([noisy[0]!], loose).identifications[0]?.verdict).to.equal('not-proven');
    expect(identifySite(noisy, loose).permutation).to.deep.equal(['A', 'B', 'C']);
  });

  it('the recorded phases are compared and never assumed', () => {
    const terminals = new Map(NAMES.map((id, k) => [id, { id, recordedPhase: ['A', 'C', 'B'][k]! }]));
    const found = identifySite(site([0, -120, 120]), frame, { terminals });
    expect(found.identifications.map((i) => i.agreesWithRecord)).to.deep.equal([true, false, false]);
    expect(found.identifications.map((i) => i.probability)).to.deep.equal(
      identifySite(site([0, -120, 120]), frame).identifications.map((i) => i.probability),
    );
  });
});

describe('identify a site behind a delta-wye transformer', () => {
  // Phasor arithmetic of the windings: on the low side of Dyn11 each phase stands across the delta voltage to the next line,
  // of Dyn1 across that to the one before (IEC 60076-1 winding diagrams, from memory).
  const across = {
    Dyn11: (u: Phasor[], k: number) => minus(u[k]!, u[(k + 1) % 3]!),
    Dyn1: (u: Phasor[], k: number) => minus(u[k]!, u[(k + 2) % 3]!),
  };
  const lines = (phases: readonly number[]) => phases.map((p) => phasor(1, PHASE_DEG[p]!));

  for (const group of ['Dyn11', 'Dyn1'] as const) {
    for (const arrangement of ARRANGEMENTS) {
      const labels = arrangement.map((p) => frame.phases[p]!);
      it(`${group}, the conductors crossed above it: ${labels.join(' ')}`, () => {
        const angles = [0, 1, 2].map((k) => across[group](lines(arrangement), k).angleDeg);
        const found = identifySite(site(angles), frame, { terminals: records({ path: [group] }) });
        expect(found.permutation).to.deep.equal(labels);
        for (const i of found.identifications) expect(i.residualDeg).to.be.closeTo(0, 1e-9);
      });
      it(`${group}, the conductors crossed below it: ${labels.join(' ')}`, () => {
        const low = [0, 1, 2].map((k) => across[group](lines([0, 1, 2]), k).angleDeg);
        const found = identifySite(site(arrangement.map((p) => low[p]!)), frame, {
          terminals: records({ path: [group] }),
        });
        expect(found.permutation).to.deep.equal(labels);
        for (const i of found.identifications) expect(i.residualDeg).to.be.closeTo(0, 1e-9);
      });
    }
  }

  it('two delta-wye levels: a crossing above looks like another one below, so an odd arrangement is not proven', () => {
    const terminals = records({ path: ['Dyn1', 'Dyn1'] });
    const shifted = [0, 120, -120].map((a) => a - 60);
    expect(identifySite(site(shifted), frame, { terminals }).permutation).to.equal(null);
    expect(identifySite(site(shifted), frame, { terminals, sequence: 'ABC' }).permutation).to.deep.equal([
      'A',
      'C',
      'B',
    ]);
    expect(identifySite(site([-60, 180, 60]), frame, { terminals }).permutation).to.deep.equal(['A', 'B', 'C']);
  });

  it('an unknown vector group leaves the slots and the sequence', () => {
    const found = identifySite(site([-30, -150, 90]), frame, { terminals: records({ path: ['unknown'] }) });
    expect(found.permutation).to.equal(null);
    expect(found.sequence).to.equal('ABC');
    expect(found.identifications.map((i) => i.slot)).to.deep.equal([11, 7, 3]);
    expect(codes(found)).to.include('vector-group-unknown');
  });
});

describe('a site that is not what it seems', () => {
  const refused = (found: ReturnType<typeof identifySite>, code: string, named: RegExp) => {
    expect(found.permutation).to.equal(null);
    for (const i of found.identifications) expect(i.verdict).to.equal('not-proven');
    expect(codes(found)[0]).to.equal(code);
    expect(found.reasons[0]?.why).to.match(named);
    expect(found.reasons[0]?.settle).to.be.a('string');
    return found;
  };

  it('two tags on one conductor', () => {
    expect(
      refused(identifySite(site([0, 2, 120]), frame), 'two-on-one-phase', /s\/1 and s\/2 read the same phase/)
        .consistent,
    ).to.equal(false);
    refused(identifySite(site([1, 0]), frame), 'two-on-one-phase', /s\/1 and s\/2/);
  });

  it('a reversed leg', () => {
    refused(identifySite(site([0, 60, 120]), frame), 'leg-reversed', /s\/2 reads as if its polarity were reversed/);
  });

  it('one leg off', () => {
    refused(identifySite(site([0, -120, 90]), frame), 'leg-off', /s\/3 stands where no phase would/);
  });

  it('all turned alike: the common error is named, and the sequence stands', () => {
    const found = refused(identifySite(site([40, -80, 160]), frame), 'site-turned', /40\.0 degrees/);
    expect(found).to.include({ consistent: true, sequence: 'ABC' });
  });

  it('turned by a third, it is a roll: only the quality of the time can tell, so unknown time names no phase', () => {
    const rolled = identifySite(site([120, 0, -120]), frame);
    expect(rolled.permutation).to.deep.equal(['C', 'A', 'B']);
    const unknown = identifySite(site([120, 0, -120], { clock: undefined, instrument: { id: 'P-1' } }), frame);
    expect(unknown.permutation).to.equal(null);
    expect(unknown.sequence).to.equal('ABC');
  });

  it('a leg without voltage is told, and does not stop the other two', () => {
    const terminals = records({ nominalV: 12470 });
    const conductors = site([0, -120, 33]).map((c, k) => ({
      ...c,
      readings: [read(c.terminal, [0, -120, 33][k], { voltageV: k === 2 ? 20 : 7200 })],
    }));
    const found = identifySite(conductors, frame, { terminals });
    expect(found.identifications.map((i) => i.phase)).to.deep.equal(['A', 'B', null]);
    expect(codes(found.identifications[2]!)).to.deep.equal(['no-voltage-read']);
    expect(JSON.stringify(found)).to.not.match(/dead|de-energi|safe/i);
    expect(found.sequence).to.equal(null);
  });

  it('a clock too coarse for one leg leaves the other two', () => {
    const conductors = site([0, -120, 120]);
    const coarse = {
      terminal: NAMES[1]!,
      readings: [read(NAMES[1]!, -120, { clock: { source: 'ntp', errorUs: 3000, locked: true } })],
    };
    const found = identifySite([conductors[0]!, coarse, conductors[2]!], frame);
    expect(found.identifications.map((i) => i.phase)).to.deep.equal(['A', null, 'C']);
  });

  it('a common uncertainty over 10 degrees proves no phase, whatever the number of conductors', () => {
    const drifting = makeFrame({ driftSdDeg: 11, references: [{ id: 'ref' }] });
    refused(identifySite(site([0, -120, 120]), drifting), 'uncertainty-too-large', /./);
  });
});

describe('a site without a reference', () => {
  it('shows its sequence from readings against UTC, each at its own instant', () => {
    // 59.98 Hz: 7.2 degrees lost a second (360 df dt).
    const angles = [10, -110, 130].map((a, k) => a - 7.2 * 0.5 * k);
    const conductors = angles.map((a, k) => ({
      terminal: NAMES[k]!,
      readings: [read(NAMES[k]!, a, { against: 'utc', frequencyHz: 59.98, atS: 0.5 * k })],
    }));
    const found = identifySite(conductors, frame);
    expect(found).to.include({ sequence: 'ABC', permutation: null });
    for (const i of found.identifications) expect(codes(i)).to.include('not-aligned');
  });

  it('does not show it over minutes of unknown frequency', () => {
    const conductors = site([10, -110, 130]).map((c, k) => ({
      ...c,
      readings: [read(c.terminal, 10 - 120 * k, { against: 'utc', atS: 60 * k })],
    }));
    const found = identifySite(conductors, frame);
    expect(found.sequence).to.equal(null);
    expect(codes(found)).to.include('instants-differ');
  });

  it('unknown clocks of different instruments show nothing', () => {
    const conductors = site([0, -120, 120]).map((c, k) => ({
      ...c,
      readings: [read(c.terminal, PHASE_DEG[k], { clock: undefined, instrument: { id: `P-${k}` } })],
    }));
    expect(identifySite(conductors, frame).sequence).to.equal(null);
  });
});

describe('laws of a site', () => {
  const angle = fc.double({ min: -180, max: 179, noNaN: true });

  it('turning everything by 120 degrees rolls the phases', () => {
    fc.assert(
      fc.property(
        fc.array(fc.double({ min: -9, max: 9, noNaN: true }), { minLength: 3, maxLength: 3 }),
        fc.nat(5),
        (noise, a) => {
          const angles = ARRANGEMENTS[a]!.map((p, k) => PHASE_DEG[p]! + noise[k]!);
          const [plain, turned] = [angles, angles.map((x) => x + 120)].map(
            (x) => identifySite(site(x), frame).permutation,
          );
          const roll = { A: 'C', B: 'A', C: 'B' } as Record<string, string>;
          expect(turned).to.deep.equal(plain?.map((p) => roll[p]) ?? null);
        },
      ),
      { seed: 31, numRuns: 60 },
    );
  });

  it('never names one phase twice', () => {
    fc.assert(
      fc.property(angle, angle, angle, (a, b, c) => {
        const { permutation } = identifySite(site([a, b, c], { sigmaDeg: 10 }), frame);
        if (permutation) expect(new Set(permutation).size).to.equal(3);
      }),
      { seed: 32, numRuns: 200 },
    );
  });

  it('with every connection allowed, a whole site on phase-phase is found as such', () => {
    const connections: Connection[] = [
      'phase-neutral',
      'phase-neutral-reversed',
      'phase-phase',
      'phase-phase-reversed',
    ];
    const wide = makeFrame({ references: [{ id: 'ref', path: [] }], connections, driftSdDeg: 2 });
    const found = identifySite(site([30, -90, 150]), wide);
    expect(found.permutation).to.deep.equal(['A', 'B', 'C']);
    expect(found.identifications.map((i) => i.connection)).to.deep.equal(['phase-phase', 'phase-phase', 'phase-phase']);
  });

  it('too many conductors, one twice, or one without readings is an error of the program', () => {
    const [a, b, c] = site([0, -120, 120]);
    expect(() => identifySite([], frame)).to.throw(RangeError);
    expect(() => identifySite([a!, a!], frame)).to.throw(RangeError);
    expect(() => identifySite([a!, b!, c!, { terminal: 'd', readings: [read('d', 0)] }], frame)).to.throw(RangeError);
    expect(() => identifySite([{ terminal: 'd', readings: [] }], frame)).to.throw(RangeError, /no readings/);
  });
});
