import { expect } from 'chai';
import { newWatch, type WatchFinding, type WatchObservation, type WatchState, watchReference } from '../../lib';
import { slopeOf } from '../../lib/reference-slope';
import { chance } from '../outside/rates/chance';

/** Feeds observations and returns the findings with the time of each. */
function watch(
  seen: readonly WatchObservation[],
  from = newWatch(),
): { state: WatchState; found: (WatchFinding & { atUs: number })[] } {
  let state = from;
  const found = seen.flatMap((s) => {
    const w = watchReference(state, s);
    state = w.state;
    return w.findings.map((f) => ({ ...f, atUs: s.atUs }));
  });
  return { state, found };
}

function stream(
  hz: number,
  seconds: number,
  over: { perS?: number; noiseDeg?: number; seed?: number; startS?: number } = {},
): WatchObservation[] {
  const { perS = 10, noiseDeg = 0.3, seed = 1, startS = 0 } = over;
  const dice = chance(seed);
  return Array.from({ length: seconds * perS + 1 }, (_, i) => {
    const t = startS + i / perS;
    return {
      kind: 'stream',
      other: 's',
      atUs: t * 1e6,
      differenceDeg: 360 * hz * t + noiseDeg * dice.normal(),
      sdDeg: noiseDeg,
    };
  });
}

describe('watching a reference: turning', () => {
  // Slip is 360 degrees a second per hertz (computed).
  it('the slope of 5 mHz is 1.8 degrees a second, with the uncertainty of least squares', () => {
    const { state } = watch(stream(0.005, 9));
    const { slopeDegS, sdDegS } = slopeOf(state.slopes.get('s')!);
    expect(slopeDegS).to.be.closeTo(1.8, 5 * sdDegS);
    // sd / sqrt(sum (t - mean)^2), 91 points over 9 s
    const sum = Array.from({ length: 91 }, (_, i) => (i / 10 - 4.5) ** 2).reduce((a, b) => a + b, 0);
    expect(sdDegS).to.be.closeTo(0.3 / Math.sqrt(sum), 1e-12);
  });

  for (const [mHz, withinS] of [
    [1, 10],
    [5, 3],
    [10, 3],
    [100, 3],
    [-5, 3],
  ] as const) {
    it(`${mHz} mHz is found within ${withinS} s`, () => {
      const { found } = watch(stream(mHz / 1000, withinS));
      expect(found[0]).to.include({ code: 'reference-not-synchronous', unit: 'deg/s' });
      expect(Math.sign(found[0]!.value)).to.equal(Math.sign(mHz));
    });
  }

  it('a synchronous reference is left alone for an hour', () => {
    expect(watch(stream(0, 3600, { perS: 2, seed: 5 })).found).to.deep.equal([]);
  });

  it('keeps its precision after a year of running', () => {
    const startS = 366 * 86400;
    const { found, state } = watch(stream(0.002, 60, { startS, seed: 6 }), watch(stream(0, 30)).state);
    expect(found.some((f) => f.code === 'reference-not-synchronous')).to.equal(true);
    expect(slopeOf(state.slopes.get('s')!).slopeDegS).to.be.closeTo(0.72, 0.1);
  });

  it('a turn past 180 degrees is not a step', () => {
    const { found } = watch(stream(0.05, 30));
    expect(new Set(found.map((f) => f.code))).to.deep.equal(new Set(['reference-not-synchronous']));
  });

  it('a step is told once, as a step', () => {
    const steady = stream(0, 10);
    const after = stream(0, 10, { startS: 10.1, seed: 2 }).map(
      (s) => ({ ...s, differenceDeg: (s as { differenceDeg: number }).differenceDeg + 30 }) as WatchObservation,
    );
    const { found } = watch([...steady, ...after]);
    expect(found.map((f) => f.code)).to.deep.equal(['reference-stepped']);
    expect(found[0]?.value).to.be.closeTo(30, 2);
  });

  it('an observation that is not newer changes nothing', () => {
    const { state } = watch(stream(0, 5));
    const again = watchReference(state, { kind: 'stream', other: 's', atUs: 1e6, differenceDeg: 170, sdDeg: 0.3 });
    expect(again.findings).to.deep.equal([]);
    expect(again.state.slopes.get('s')).to.deep.equal(state.slopes.get('s'));
  });
});

describe('watching a reference: the other signs', () => {
  const spot = (atS: number, relativeDeg: number, terminal = 't'): WatchObservation => ({
    kind: 'spot',
    terminal,
    atUs: atS * 1e6,
    relativeDeg,
    sdDeg: 2,
  });

  it('two readings of one conductor half a minute apart must agree within 5 sd', () => {
    expect(watch([spot(0, 179), spot(40, -175)]).found).to.deep.equal([]);
    const { found } = watch([spot(0, 0), spot(40, 20)]);
    expect(found[0]).to.include({ code: 'spot-readings-disagree', value: 20 });
    expect(found[0]?.limit).to.be.closeTo(5 * 2 * Math.SQRT2, 1e-9);
  });

  it('readings less than half a minute apart wait for one that is not', () => {
    const { found } = watch([spot(0, 0), spot(20, 8), spot(31, 16)]);
    expect(found.map((f) => f.atUs)).to.deep.equal([31e6]);
  });

  it('different conductors are not held together', () => {
    expect(watch([spot(0, 0, 'a'), spot(40, 120, 'b')]).found).to.deep.equal([]);
  });

  it('frequencies may differ by 10 mHz in the same second', () => {
    const at = (fieldHz: number) =>
      watch([{ kind: 'frequency', atUs: 0, referenceHz: 60, fieldHz }]).found.map((f) => f.code);
    expect(at(60.0099)).to.deep.equal([]);
    expect(at(60.011)).to.deep.equal(['frequencies-disagree']);
  });

  it('silence makes it stale, and being heard again ends that', () => {
    const at = (s: number): WatchObservation => ({ kind: 'time', atUs: s * 1e6 });
    const heard = (s: number): WatchObservation => ({ kind: 'heard', atUs: s * 1e6 });
    const { found } = watch([at(0), heard(1), at(2), at(4), heard(5), at(6)]);
    expect(found.map((f) => [f.code, f.atUs / 1e6])).to.deep.equal([
      ['reference-stale', 0],
      ['reference-stale', 4],
    ]);
  });

  it('every finding says what would settle it, and remembers no more than it must', () => {
    const many = Array.from({ length: 1000 }, (_, k) => spot(k, 0, `t${k}`));
    const { state } = watch(many);
    expect(state.spots.size).to.equal(256);
    expect(state.spots.has('t999')).to.equal(true);
  });

  it('the state given is not touched', () => {
    const before = newWatch();
    watch(stream(0.1, 5), before);
    expect(before).to.deep.equal(newWatch());
  });
});
