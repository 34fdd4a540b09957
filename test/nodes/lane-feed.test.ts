import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import type { LaneReading, Sharing } from '../../nodes/kit/sharing';
import { LaneFeed } from '../../nodes/readings-in/lane-feed';
import { LaneNames } from '../../nodes/readings-in/lane-names';
import type { LanePlace } from '../../nodes/readings-in/lane-place';
import { reading } from './ledger-samples';

/** What the feed uses of a shared ledger, in memory. */
class Shared implements Partial<Sharing> {
  readonly places = new Map<string, number>();
  readonly readings: LaneReading[] = [];
  /** moving places fails so often */
  failures = 0;
  /** counts up when another held the claims in between */
  term = 1;
  /** lanes that another worker holds */
  readonly others = new Set<string>();
  async hold({ names }: Parameters<Sharing['hold']>[0]) {
    const mine = names.filter((name) => !this.others.has(name));
    return { claims: mine.map((name) => ({ name, term: this.term })), holders: 1 };
  }
  async leave() {}
  async head() {
    return this.readings.at(-1)?.seq ?? 0;
  }
  async placesOf(names: readonly string[]) {
    return names.map((name) => this.places.get(name) ?? 0);
  }
  async readingsOfLanes(places: Parameters<Sharing['readingsOfLanes']>[0]) {
    const after = new Map(places.map(({ lane, seq }) => [lane, seq]));
    return this.readings.filter(({ lane, seq }) => seq > (after.get(lane) ?? Number.POSITIVE_INFINITY));
  }
  async advanceAll(places: Parameters<Sharing['advanceAll']>[0]) {
    if (this.failures-- > 0) throw new Error('the server is away');
    for (const { name, seq } of places) this.places.set(name, Math.max(seq, this.places.get(name) ?? 0));
  }
  onReadings() {
    return () => undefined;
  }
  store(lane: string, seq: number) {
    this.readings.push({ lane, seq, reading: reading('s/1', seq), source: 'test' });
  }
}

/** Retention lets go what its lane has sent: a place that stays behind keeps readings for ever. */
describe('the place up to which a lane was sent', () => {
  it('is remembered no longer than it takes to settle where another answers for what all hear', async () => {
    const shared = new Shared();
    shared.others.add('in/all');
    let sent = 0;
    const feed = new LaneFeed(shared as unknown as Sharing, new LaneNames('in'), {
      door: 'in',
      instance: 'w',
      settleMs: 0,
      gatherMs: 0,
      send: (readings) => {
        sent += readings.length;
      },
    });
    await feed.start();
    for (let seq = 1; seq <= 100; seq++) shared.store('in/all', seq);
    const { places } = feed as unknown as { readonly places: ReadonlyMap<string, LanePlace> };
    const isDone = () => sent === 100 && places.get('in/all')!.isSettled;
    for (let i = 0; i < 100 && !isDone(); i++) await sleep(50);
    expect([sent, places.get('in/all')!.isSettled]).to.deep.equal([100, true]);
    expect(shared.places.has('sent:in/all'), 'it is not ours to note').to.equal(false);
    await feed.close();
  });

  const settled = async (shared: Shared, lane: string, seq: number) => {
    for (let i = 0; i < 200 && shared.places.get(`sent:${lane}`) !== seq; i++) await sleep(50);
    expect(shared.places.get(`sent:${lane}`)).to.equal(seq);
  };
  for (const lane of ['in/3', 'in/all']) {
    it(`follows, whatever was away or held by another meanwhile and though nothing more comes: ${lane}`, async () => {
      const shared = new Shared();
      shared.store(lane, 7);
      shared.failures = 1;
      const sent: number[] = [];
      const feed = new LaneFeed(shared as unknown as Sharing, new LaneNames('in'), {
        door: 'in',
        instance: 'w',
        settleMs: 0,
        gatherMs: 0,
        send: (readings) => sent.push(...readings.map(({ seq }) => seq)),
      });
      await feed.start();
      await settled(shared, lane, 7);
      expect(shared.failures, 'it failed once').to.be.at.most(0);
      shared.store(lane, 9);
      shared.term++;
      await settled(shared, lane, 9);
      expect(new Set(sent)).to.deep.equal(new Set([7, 9]));
      await feed.close();
    });
  }
});
