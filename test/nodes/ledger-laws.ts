/**
 * What every driver of the ledger must do, run against each through the same tests. The laws are this project's own contract
 * (nodes/ledger/ledger.ts); the outside they are held against is a real database.
 */
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import fc from 'fast-check';
import { formatInstant } from '../../lib/instant';
import type { PhaseloomRecord } from '../../lib/records';
import type { AlertQuery, Delivery, Ledger, RecordQuery } from '../../nodes/ledger/ledger';
import { admitted, alert, at, comparison, identification, reading, rejection, rotation } from './ledger-samples';

export interface LedgerUnderTest {
  readonly ledger: Ledger;
  /** another ledger object on the same store, as a second worker or the program after a restart has it */
  another(): Promise<Ledger>;
  /** makes the database itself refuse every row of a table from now on */
  refuse(table: 'rejection' | 'alert_transition'): Promise<void>;
  /** refuses the rows of `finding` whose subject is this */
  refuseFinding(subject: string): Promise<void>;
  destroy(): Promise<void>;
}

export function ledgerLaws(name: string, make: () => Promise<LedgerUnderTest>): void {
  describe(`the laws of the ledger, ${name}`, () => {
    let bench: LedgerUnderTest;
    let ledger: Ledger;
    beforeEach(async () => {
      bench = await make();
      ledger = bench.ledger;
    });
    afterEach(() => bench.destroy());

    describe('readings', () => readingLaws(() => bench));
    describe('findings', () => findingLaws(() => bench));
    describe('alerts', () => alertLaws(() => bench));
    describe('outbox', () => outboxLaws(() => bench));
    describe('records', () => recordLaws(() => ledger));
    describe('places', () => {
      it('start at 0 and never move back', async () => {
        expect(await ledger.cursor('sent')).to.equal(0);
        await ledger.advance('sent', 7);
        await ledger.advance('sent', 5);
        expect(await ledger.cursor('sent')).to.equal(7);
        expect(await ledger.cursor('other')).to.equal(0);
      });
    });
    describe('health', () => {
      it('counts what is stored', async () => {
        await ledger.admit([admitted(reading('s/1', 0)), admitted(reading('s/2', 0))], [rejection(null, 0)]);
        await ledger.keep(identification('s/1', 0));
        await ledger.saveAlert(alert('a', 1, 0));
        await ledger.saveAlert(alert('b', 1, 0, { state: 'normal', active: false }));
        await ledger.enqueue([delivery('d', 's', 1)]);
        const { error, pending, ...rest } = await ledger.health();
        expect({ error, pending }).to.deep.equal({ error: '', pending: 0 });
        expect(rest).to.deep.equal({
          ok: true,
          readings: 2,
          rejections: 1,
          findings: 1,
          alertsOpen: 1,
          deliveriesWaiting: 1,
        });
      });
    });
    describe('what is committed', () => {
      it('is told to listeners, once for each new record, and to nobody who has left', async () => {
        const heard: PhaseloomRecord[] = [];
        const leave = ledger.onCommit((records) => heard.push(...records));
        const finding = identification('s/1', 0);
        const refused = rejection('s/1', 0);
        const raised = alert('a', 1, 0);
        await ledger.keep(finding);
        await ledger.keep(finding);
        await ledger.admit([admitted(reading('s/1', 0))], [refused]);
        await ledger.saveAlert(raised);
        await ledger.saveAlert(raised);
        expect(heard.map((r) => r.id)).to.deep.equal([finding.id, refused.id, raised.id]);
        leave();
        await ledger.keep(identification('s/2', 0));
        expect(heard).to.have.length(3);
      });

      it('is told even when a listener fails', async () => {
        const heard: string[] = [];
        const warned = new Promise<Error>((resolve) => process.once('warning', resolve));
        ledger.onCommit(() => {
          throw new Error('view is gone');
        });
        ledger.onCommit((records) => heard.push(...records.map((r) => r.id)));
        const finding = identification('s/1', 0);
        expect(await ledger.keep(finding)).to.deep.equal({ isNew: true });
        expect(heard).to.deep.equal([finding.id]);
        expect((await warned).message).to.contain('view is gone');
      });

      it('is there for another who opens the same store', async () => {
        await ledger.admit([admitted(reading('s/1', 0))], []);
        await ledger.keep(identification('s/1', 0));
        const second = await bench.another();
        expect((await second.records({})).records).to.have.length(2);
        await second.close();
      });
    });
  });
}

type Bench = () => LedgerUnderTest;

function readingLaws(bench: Bench): void {
  it('get places in the order given, and each is stored once', async () => {
    const { ledger } = bench();
    const [a, b, c] = [reading('s/1', 0), reading('s/2', 0), reading('s/3', 0)] as const;
    const first = await ledger.admit([a, b].map(admitted), []);
    const again = await ledger.admit([b, c, c].map(admitted), []);
    const [pa, pb] = first.readings;
    expect(first.readings.map((p) => p.isNew)).to.deep.equal([true, true]);
    expect(pb!.seq).to.be.greaterThan(pa!.seq);
    expect(again.readings.map((p) => p.isNew)).to.deep.equal([false, true, false]);
    expect(again.readings[0]!.seq).to.equal(pb!.seq);
    expect(again.readings[1]!.seq).to.equal(again.readings[2]!.seq);
    expect((await ledger.readingsAfter(0, 10)).map((s) => s.reading)).to.deep.equal([a, b, c]);
    expect((await ledger.readingsAfter(pa!.seq, 1)).map((s) => s.reading)).to.deep.equal([b]);
    expect(await ledger.head()).to.equal(again.readings[1]!.seq);
  });

  it('have no newest place while there are none', async () => {
    expect(await bench().ledger.head()).to.equal(0);
  });

  it('belong to the door that stored them first, with the source they came through', async () => {
    const { ledger } = bench();
    const [a, b, c] = [reading('s/1', 0), reading('s/1', 1), reading('s/2', 0)];
    await ledger.admit(
      [{ ...admitted(a), door: 'east' }, { ...admitted(b), source: 'gate/b', door: 'west' }, admitted(c)],
      [],
    );
    await ledger.admit([{ ...admitted(a), door: 'west' }], []);
    const of = async (door?: string) => (await ledger.readingsAfter(0, 10, door)).map((s) => s.reading);
    expect([await of('east'), await of('west'), await of('north')]).to.deep.equal([[a], [b], []]);
    expect(await of()).to.deep.equal([a, b, c]);
    expect((await ledger.readingsAfter(0, 1, 'west'))[0]!.source).to.equal('gate/b');
  });

  it('come with their rejections, or not at all', async () => {
    const { ledger, refuse } = bench();
    await refuse('rejection');
    const failure = await ledger.admit([admitted(reading('s/1', 0))], [rejection(null, 0)]).catch((e: Error) => e);
    expect(failure).to.be.instanceOf(Error);
    expect(await ledger.readingsAfter(0, 10)).to.deep.equal([]);
    expect((await ledger.health()).readings).to.equal(0);
    expect((await ledger.admit([admitted(reading('s/1', 0))], [])).readings[0]!.isNew).to.equal(true);
  });

  it('stay whatever the order and repetition of their delivery (property, 60 cases)', async () => {
    const { ledger } = bench();
    let run = 0;
    await fc.assert(
      fc.asyncProperty(
        fc.array(fc.array(fc.integer({ min: 0, max: 9 }), { maxLength: 8 }), { maxLength: 5 }),
        async (batches) => {
          const prefix = `run${run++}`;
          const make = (n: number) => reading(`${prefix}/${n}`, n);
          const admissions = await Promise.all(batches.map((b) => ledger.admit(b.map(make).map(admitted), [])));
          const places = new Map<number, number>();
          let fresh = 0;
          admissions.forEach(({ readings }, i) => {
            readings.forEach(({ seq, isNew }, j) => {
              const n = batches[i]![j]!;
              fresh += isNew ? 1 : 0;
              expect(places.get(n) ?? seq).to.equal(seq);
              places.set(n, seq);
            });
          });
          expect(fresh).to.equal(new Set(batches.flat()).size);
          expect((await ledger.count({ subject: `${prefix}/`, kinds: ['reading'] })).get('reading') ?? 0).to.equal(
            fresh,
          );
        },
      ),
      { seed: 11, numRuns: 60 },
    );
  });

  it('of large batches with repetitions: the first of each is new, and stands where it came (property, 20 cases)', async () => {
    const { ledger } = bench();
    let run = 0;
    await fc.assert(
      fc.asyncProperty(
        fc.array(fc.array(fc.integer({ min: 0, max: 400 }), { minLength: 60, maxLength: 300 }), { maxLength: 3 }),
        async (batches) => {
          const prefix = `large${run++}`;
          const seqOf = new Map<number, number>();
          for (const batch of batches) {
            const { readings } = await ledger.admit(
              batch.map((n) => admitted(reading(`${prefix}/${n}`, n))),
              [],
            );
            const isNew = batch.map((n, i) => !seqOf.has(n) && batch.indexOf(n) === i);
            expect(readings.map((place) => place.isNew)).to.deep.equal(isNew);
            const fresh = readings.filter((place) => place.isNew).map(({ seq }) => seq);
            expect(fresh).to.deep.equal([...fresh].sort((a, b) => a - b));
            readings.forEach(({ seq }, i) => {
              const n = batch[i]!;
              expect(seqOf.get(n) ?? seq).to.equal(seq);
              seqOf.set(n, seq);
            });
          }
          const stored = await ledger.readingsAfter(0, 100_000);
          const mine = stored.filter((s) => s.reading.terminal.startsWith(`${prefix}/`));
          expect(mine.map(({ seq, reading: { terminal } }) => [terminal, seq])).to.deep.equal(
            [...seqOf].sort(([, a], [, b]) => a - b).map(([n, seq]) => [`${prefix}/${n}`, seq]),
          );
        },
      ),
      { seed: 12, numRuns: 20 },
    );
  });

  it('latest: by the time they were taken, as known at a place in the ledger', async () => {
    const { ledger } = bench();
    const [old, newer, late] = [reading('s/1', 0), reading('s/1', 10), reading('s/1', 5)] as const;
    const other = reading('s/2', 7);
    const { readings: places } = await ledger.admit([old, newer, other].map(admitted), []);
    await ledger.admit([admitted(late)], []);
    const taken = async (...args: Parameters<Ledger['latestReadings']>) =>
      (await ledger.latestReadings(...args)).map((s) => s.reading);
    expect(await taken(['s/1', 's/2', 's/3', 's/1'], 2)).to.deep.equal([newer, other, late]);
    expect(await taken(['s/1'], 2, places[2]!.seq)).to.deep.equal([newer, old]);
    expect(await taken(['s/1'], 2, places[0]!.seq)).to.deep.equal([old]);
    expect(await taken([], 2)).to.deep.equal([]);
  });

  it('turned aside: the readings that rejections of the screen rest on, and of no other stage or terminal', async () => {
    const { ledger } = bench();
    const aside = (terminal: string, seconds: number, ...from: string[]) =>
      rejection(terminal, seconds, { stage: 'screen', from });
    for (const r of [
      aside('s/1', 0, 'r1'),
      aside('s/1', 5, 'r2', 'r3'),
      aside('s/2', 1, 'r4'),
      aside('s/20', 1, 'r5'),
      rejection('s/1', 2, { from: ['r6'] }),
    ])
      await ledger.keep(r);
    expect(await ledger.turnedAside(['s/1', 's/2', 's/1', 's/3'])).to.have.members(['r1', 'r2', 'r3', 'r4']);
    expect(await ledger.turnedAside([])).to.deep.equal([]);
  });

  it('between: both bounds included, oldest first, of one terminal', async () => {
    const { ledger } = bench();
    const stream = [4, 2, 3, 1, 5].map((s) => reading('ref', s));
    await ledger.admit([...stream, reading('s/1', 3)].map(admitted), []);
    const taken = async (from: number, to: number, limit: number) =>
      (await ledger.readingsBetween('ref', at(from), at(to), limit)).map((s) => s.reading.takenAt);
    const times = [2, 3, 4].map((s) => reading('ref', s).takenAt);
    expect(await taken(2, 4, 10)).to.deep.equal(times);
    expect(await taken(2, 4, 2)).to.deep.equal(times.slice(0, 2));
    expect(await taken(6, 9, 2)).to.deep.equal([]);
  });
}

function findingLaws(bench: Bench): void {
  const current = async (query: RecordQuery = {}) =>
    (await bench().ledger.records({ ...query, currentOnly: true })).records.map((r) => r.id);

  it('are kept once, and rejections of the screen with them', async () => {
    const { ledger } = bench();
    const finding = identification('s/1', 0);
    const turnedAside = rejection('s/1', 0, { stage: 'screen' });
    expect(await Promise.all([finding, finding, turnedAside].map((r) => ledger.keep(r)))).to.deep.equal([
      { isNew: true },
      { isNew: false },
      { isNew: true },
    ]);
    expect(await ledger.keep(turnedAside)).to.deep.equal({ isNew: false });
    expect((await ledger.records({})).records).to.deep.equal([turnedAside, finding]);
  });

  it('of one kind and subject: the newest by its own time holds, in whatever order they come', async () => {
    const { ledger } = bench();
    const [first, second, third] = [
      identification('s/1', 0),
      identification('s/1', 1),
      identification('s/1', 2),
    ] as const;
    await ledger.keep(second);
    await ledger.keep(first);
    expect(await current()).to.deep.equal([second.id]);
    await ledger.keep(third);
    expect(await current()).to.deep.equal([third.id]);
    expect((await ledger.records({})).records).to.have.length(3);
  });

  it('of the same instant: the later one holds, and saying the earlier again changes nothing', async () => {
    const { ledger } = bench();
    const doubtful = identification('s/1', 0, { verdict: 'not-proven', phase: null });
    const decided = identification('s/1', 0);
    await ledger.keep(doubtful);
    await ledger.keep(decided);
    await ledger.keep(doubtful);
    expect(await current()).to.deep.equal([decided.id]);
  });

  it('of a correction taken back hold again', async () => {
    const { ledger } = bench();
    const before = identification('s/1', 0, { frame: { id: 'f', revision: 'one' } });
    const corrected = identification('s/1', 0, { frame: { id: 'f', revision: 'two' }, phase: 'C' });
    for (const finding of [before, corrected, before]) await ledger.keep(finding);
    expect(await current()).to.deep.equal([before.id]);
    await ledger.keep(corrected);
    expect(await current()).to.deep.equal([corrected.id]);
  });

  it('said anew of the same instant hold again, and of an earlier one do not', async () => {
    const { ledger } = bench();
    const [proven, doubted] = [
      identification('s/1', 0),
      identification('s/1', 0, { verdict: 'not-proven', phase: null }),
    ];
    for (const finding of [proven, doubted, proven]) await ledger.keep(finding);
    expect(await current(), 'said again').to.deep.equal([doubted!.id]);
    expect(await ledger.keep(proven!, 'anew')).to.deep.equal({ isNew: false });
    expect(await current()).to.deep.equal([proven!.id]);
    await Promise.all([ledger.keep(doubted!, 'anew'), ledger.keep(proven!, 'anew')]);
    expect(await current(), 'the last of one group').to.deep.equal([proven!.id]);
    const later = identification('s/1', 1);
    await ledger.keep(later);
    await ledger.keep(doubted!, 'anew');
    expect(await current()).to.deep.equal([later.id]);
  });

  it('of other kinds and subjects do not touch each other', async () => {
    const { ledger } = bench();
    const kept = [
      identification('s/1', 0),
      identification('s/2', 1),
      rotation('s', ['s/1', 's/2', 's/3'], 2),
      comparison('s', 3),
    ];
    for (const finding of kept) await ledger.keep(finding);
    expect(await current()).to.deep.equal(kept.map((f) => f.id));
  });

  it('on the rotation of one side of a site do not hide those of the other side', async () => {
    const { ledger } = bench();
    const left = rotation('s', ['s/1', 's/2', 's/3'], 0, { sequence: 'ACB' });
    const right = rotation('s', ['s/4', 's/5', 's/6'], 1);
    const fromBehind = rotation('s', ['s/3', 's/2', 's/1'], 2);
    await ledger.keep(left);
    await ledger.keep(right);
    expect(await current({ subject: 's' })).to.deep.equal([left.id, right.id]);
    await ledger.keep(fromBehind);
    expect(await current({ subject: 's' })).to.deep.equal([right.id, fromBehind.id]);
  });

  it('that cannot be stored fail alone', async () => {
    const { ledger, refuseFinding } = bench();
    await refuseFinding('s/2');
    const kept = [1, 2, 3].map((n) => ledger.keep(identification(`s/${n}`, n)));
    const settled = await Promise.allSettled(kept);
    expect(settled.map((s) => s.status)).to.deep.equal(['fulfilled', 'rejected', 'fulfilled']);
    expect((await ledger.records({})).records).to.have.length(2);
    expect((await ledger.health()).ok).to.equal(true);
  });

  it('hold as the newest does, for any order of arrival (property, 40 cases)', async () => {
    const { ledger } = bench();
    let run = 0;
    await fc.assert(
      fc.asyncProperty(fc.array(fc.integer({ min: 0, max: 5 }), { minLength: 1, maxLength: 8 }), async (seconds) => {
        const terminal = `run${run++}`;
        const said = seconds.map((s, i) => identification(terminal, s, { probability: i / 100 }));
        await Promise.all(said.map((finding) => ledger.keep(finding)));
        const newest = Math.max(...seconds);
        const holds = said[seconds.lastIndexOf(newest)]!;
        expect(await current({ subject: terminal })).to.deep.equal([holds.id]);
      }),
      { seed: 12, numRuns: 40 },
    );
  });
}

function alertLaws(bench: Bench): void {
  it('go one revision at a time, and both the last and every transition stay', async () => {
    const { ledger } = bench();
    const raised = alert('k', 1, 0);
    const acknowledged = alert('k', 2, 1, { state: 'acknowledged', transition: 'acknowledged', by: 'operator' });
    expect(await ledger.saveAlert(alert('k', 2, 0))).to.equal(false);
    expect(await ledger.saveAlert(raised)).to.equal(true);
    expect(await ledger.saveAlert(raised)).to.equal(false);
    expect(await ledger.saveAlert(acknowledged)).to.equal(true);
    expect(await ledger.saveAlert(alert('k', 2, 2, { transition: 'returned' }))).to.equal(false);
    expect(await ledger.alerts()).to.deep.equal([acknowledged]);
    expect(await ledger.alertHistory('k')).to.deep.equal([raised, acknowledged]);
    expect(await ledger.alertHistory('other')).to.deep.equal([]);
  });

  it('of two who make the same revision at once, one is refused', async () => {
    const { ledger, another } = bench();
    const second = await another();
    const both = await Promise.all([
      ledger.saveAlert(alert('k', 1, 0, { by: 'one' })),
      second.saveAlert(alert('k', 1, 0, { by: 'two' })),
    ]);
    expect(both.sort()).to.deep.equal([false, true]);
    await second.close();
  });

  it('are found by key and by being open', async () => {
    const { ledger } = bench();
    const [open, over] = [alert('open', 1, 0), alert('over', 1, 0, { state: 'normal', active: false })] as const;
    await ledger.saveAlert(open);
    await ledger.saveAlert(over);
    expect(await ledger.alerts({ openOnly: true })).to.deep.equal([open]);
    expect(await ledger.alerts({ keys: ['over', 'none', 'over'] })).to.deep.equal([over]);
    expect(await ledger.alerts({ keys: ['over'], openOnly: true })).to.deep.equal([]);
    expect(await ledger.alerts({ keys: [] })).to.deep.equal([]);
  });

  it('are listed a stretch at a time: those that call first, then high priority, then the newest condition', async () => {
    const { ledger } = bench();
    const since = (seconds: number) => alert('any', 1, 0, { since: formatInstant(at(seconds)) }).since;
    const expected = [
      alert('high-new', 1, 0, { since: since(9) }),
      alert('high-old', 1, 0, { since: since(1) }),
      alert('low', 1, 0, { priority: 'low', since: since(20) }),
      alert('gone', 1, 0, { state: 'returned-unacknowledged', active: false }),
      alert('known', 1, 0, { state: 'acknowledged', since: since(30) }),
      alert('aside', 1, 0, { state: 'shelved' }),
      alert('over', 1, 0, { state: 'normal', active: false }),
    ];
    for (const one of [3, 6, 0, 5, 2, 4, 1]) await ledger.saveAlert(expected[one]!);
    const all = await ledger.alertList({ offset: 0, limit: 10 });
    expect(all).to.deep.equal({ alerts: expected, count: 7, calling: 4, named: null });
    const stretch = await ledger.alertList({ offset: 2, limit: 2, openOnly: true, key: 'aside' });
    const named = { place: 5, alert: expected[5] };
    expect(stretch).to.deep.equal({ alerts: expected.slice(2, 4), count: 6, calling: 4, named });
    expect(await ledger.alertList({ offset: 0, limit: 0, openOnly: true, key: 'over' })).to.deep.equal({
      alerts: [],
      count: 6,
      calling: 4,
      named: null,
    });
  });

  it('are given by when time alone moves them: the end of a shelf, and of a delay that runs in an alert not raised yet', async () => {
    const { ledger } = bench();
    const said = { active: true, says: 'x', text: 'x', priority: 'high' as const, from: [] };
    const began = { since: formatInstant(at(0)), evidenceAt: formatInstant(at(0)) };
    const pending = (seconds: number) => ({ pending: { ...said, ...began, dueAt: formatInstant(at(seconds)) } });
    const quiet = { state: 'normal', active: false, transition: 'delayed' } as const;
    await ledger.saveAlert(alert('open', 1, 0));
    await ledger.saveAlert(alert('shelved', 1, 0, { state: 'shelved', shelvedUntil: formatInstant(at(60)) }));
    await ledger.saveAlert(alert('delayed', 1, 0, { ...quiet, ...pending(50) }));
    await ledger.saveAlert(alert('later', 1, 0, { ...quiet, ...pending(500) }));
    await ledger.saveAlert(alert('over', 1, 0, pending(40)));
    await ledger.saveAlert(alert('over', 2, 1));
    const due = async (query: AlertQuery) => (await ledger.alerts(query)).map(({ key }) => key);
    expect(await due({ dueBeforeUs: at(100) })).to.deep.equal(['delayed', 'shelved']);
    expect(await due({ dueBeforeUs: at(60) }), 'that instant not included').to.deep.equal(['delayed']);
    expect(await due({ dueBeforeUs: at(100), openOnly: true })).to.deep.equal(['shelved']);
    expect(await due({ dueBeforeUs: at(1000), keys: ['later', 'open'] })).to.deep.equal(['later']);
  });

  it('and their deliveries are stored together or not at all', async () => {
    const { ledger, refuse } = bench();
    const raised = alert('k', 1, 0);
    expect(await ledger.saveAlert(raised, [delivery('d', 'k', 1)])).to.equal(true);
    expect(await ledger.saveAlert(raised, [delivery('d', 'k', 2)])).to.equal(false);
    expect(await ledger.deliveries({})).to.have.length(1);
    await refuse('alert_transition');
    const failure = await ledger.saveAlert(alert('k', 2, 1), [delivery('d', 'k', 3)]).catch((e: Error) => e);
    expect(failure).to.be.instanceOf(Error);
    expect(await ledger.alerts()).to.deep.equal([raised]);
    expect(await ledger.deliveries({})).to.have.length(1);
  });
}

function delivery(destination: string, subject: string, n: number): Delivery {
  const record = identification(subject, n);
  return { destination, key: `${record.id}/${n}`, subject, record };
}

function outboxLaws(bench: Bench): void {
  const NOW = at(0);
  const LEASE_MS = 30_000;
  const claim = async (ledger: Ledger, destination = 'd', limit = 10) =>
    (await ledger.claimDue(destination, limit, LEASE_MS)).map((d) => d.key);

  it('takes a delivery once for each destination', async () => {
    const { ledger } = bench();
    const one = delivery('d', 's', 1);
    await ledger.enqueue([one, one]);
    await ledger.enqueue([one, { ...one, destination: 'e' }]);
    const stored = await ledger.deliveries({});
    expect(stored.map((d) => d.destination)).to.deep.equal(['e', 'd']);
    expect(stored[1]).to.deep.include({ ...one, state: 'waiting', attempts: 0, lastError: '' });
  });

  it('lets out only the oldest of each subject, oldest first', async () => {
    const { ledger } = bench();
    const [a1, a2, b1, c1] = [
      delivery('d', 'a', 1),
      delivery('d', 'a', 2),
      delivery('d', 'b', 3),
      delivery('d', 'c', 4),
    ] as const;
    await ledger.enqueue([a1, a2, b1, delivery('other', 'a', 5), c1]);
    expect(await claim(ledger, 'd', 2)).to.deep.equal([a1.key, b1.key]);
    expect(await claim(ledger)).to.deep.equal([c1.key]);
    expect(await claim(ledger)).to.deep.equal([]);
  });

  it('lets the next of a subject out when the one before is accepted or abandoned', async () => {
    const { ledger } = bench();
    const queue = [1, 2, 3].map((n) => delivery('d', 'a', n));
    await ledger.enqueue(queue);
    const [first] = await ledger.claimDue('d', 10, LEASE_MS);
    await ledger.accepted(first!.seq, NOW, '200');
    const [second] = await ledger.claimDue('d', 10, LEASE_MS);
    expect(second!.key).to.equal(queue[1]!.key);
    await ledger.abandoned(second!.seq, NOW, 'answered 400');
    expect(await claim(ledger)).to.deep.equal([queue[2]!.key]);
    const [given] = await ledger.deliveries({ state: 'abandoned' });
    expect(given).to.deep.include({ key: queue[1]!.key, state: 'abandoned', lastError: 'answered 400' });
    expect((await ledger.deliveries({ state: 'accepted' })).map((d) => d.key)).to.deep.equal([queue[0]!.key]);
  });

  it('holds a subject back until its failed delivery is due again', async () => {
    const { ledger } = bench();
    const queue = [1, 2].map((n) => delivery('d', 'a', n));
    await ledger.enqueue(queue);
    const [first] = await ledger.claimDue('d', 10, LEASE_MS);
    expect(first!.attempts).to.equal(1);
    await ledger.failed(first!.seq, 'answered 503', ledger.clockUs() + 60e6);
    expect(await claim(ledger)).to.deep.equal([]);
    await ledger.failed(first!.seq, 'answered 503', 0);
    const [again] = await ledger.claimDue('d', 10, LEASE_MS);
    expect(again).to.deep.include({ key: queue[0]!.key, attempts: 2 });
    expect((await ledger.deliveries({ state: 'waiting' })).map((d) => d.lastError)).to.deep.equal(['answered 503', '']);
  });

  it('counts how often the other side refused a delivery, whoever offered it', async () => {
    const { ledger, another } = bench();
    const second = await another();
    await ledger.enqueue([delivery('d', 'a', 1)]);
    const seen: number[] = [];
    for (const [offers, isRefusal] of [
      [ledger, true],
      [second, false],
      [second, true],
      [ledger, undefined],
    ] as const) {
      const [due] = await offers.claimDue('d', 1, LEASE_MS);
      seen.push(due!.refusals);
      await offers.failed(due!.seq, 'answered', 0, isRefusal);
    }
    expect(seen).to.deep.equal([0, 1, 1, 2]);
    expect((await second.deliveries({})).map((d) => [d.refusals, d.attempts])).to.deep.equal([[2, 4]]);
    await second.close();
  });

  it('gives a claimed delivery to nobody else, until the claim has run out', async () => {
    const { ledger, another } = bench();
    const second = await another();
    await ledger.enqueue(Array.from({ length: 40 }, (_, n) => delivery('d', `s${n}`, n)));
    const claims = await Promise.all([ledger, second, ledger, second].map((l) => l.claimDue('d', 15, LEASE_MS)));
    const keys = claims.flat().map((d) => d.key);
    expect(keys).to.have.length(40);
    expect(new Set(keys).size).to.equal(40);
    expect(await claim(second, 'd', 50)).to.have.length(0);
    await second.enqueue([delivery('short', 's', 1)]);
    expect(await ledger.claimDue('short', 1, 100)).to.have.length(1);
    await sleep(150);
    expect(await claim(second, 'short')).to.have.length(1);
    await second.close();
  });

  it('is not moved by late news about what is over', async () => {
    const { ledger } = bench();
    await ledger.enqueue([delivery('d', 'a', 1)]);
    const [only] = await ledger.claimDue('d', 1, LEASE_MS);
    await ledger.accepted(only!.seq, NOW, '200');
    await ledger.failed(only!.seq, 'timed out', NOW);
    await ledger.abandoned(only!.seq, NOW, 'gave up');
    expect(await ledger.deliveries({})).to.deep.include.members([{ ...only!, state: 'accepted', lastError: '' }]);
  });

  it('keeps the order of each subject through failures and repetition (property, 12 cases)', async () => {
    const { ledger } = bench();
    let run = 0;
    await fc.assert(
      fc.asyncProperty(
        fc.array(fc.integer({ min: 0, max: 2 }), { minLength: 1, maxLength: 8 }),
        fc.infiniteStream(fc.boolean()),
        async (subjects, fates) => {
          const destination = `d${run++}`;
          await ledger.enqueue(subjects.map((s, n) => delivery(destination, `s${s}`, n)));
          const arrived: { subject: string; n: number }[] = [];
          for (let round = 0; round < 100; round++) {
            const claimed = await ledger.claimDue(destination, 3, LEASE_MS);
            const told = claimed.map((due) => {
              if (!fates.next().value) return ledger.failed(due.seq, 'away', 0);
              arrived.push({ subject: due.subject, n: Number(due.key.split('/')[1]) });
              return ledger.accepted(due.seq, NOW, '200');
            });
            await Promise.all(told);
            if (arrived.length === subjects.length) break;
          }
          for (const s of new Set(subjects)) {
            const order = arrived.filter((a) => a.subject === `s${s}`).map((a) => a.n);
            expect(order).to.deep.equal(subjects.flatMap((x, n) => (x === s ? [n] : [])));
          }
        },
      ),
      { seed: 13, numRuns: 12 },
    );
  });
}

function recordLaws(ledger: () => Ledger): void {
  const ids = async (query: RecordQuery) => (await ledger().records(query)).records.map((r) => r.id);

  async function stocked() {
    const byCrew = reading('s/1', 0, { by: 'crew 4', instrument: { id: 'P-07' } });
    const plain = reading('s/2', 1);
    const elsewhere = reading('s0/1', 2);
    const found = identification('s/1', 3, { from: [byCrew.id] });
    const refused = rejection('s/2', 4);
    const raised = alert('k', 1, 5, { subject: 's/1' });
    const taken = alert('k', 2, 6, { subject: 's/1', by: 'operator', state: 'acknowledged' });
    await ledger().admit([byCrew, plain, elsewhere].map(admitted), [refused]);
    await ledger().keep(found);
    await ledger().saveAlert(raised);
    await ledger().saveAlert(taken);
    return { byCrew, plain, elsewhere, found, refused, raised, taken };
  }

  it('come whole, in the order of time, either way', async () => {
    const all = Object.values(await stocked());
    expect((await ledger().records({})).records).to.deep.equal(all);
    expect((await ledger().records({ order: 'newest-first' })).records).to.deep.equal([...all].reverse());
  });

  it('answer to kind, id, subject, people, instrument, time, and being current', async () => {
    const s = await stocked();
    expect(await ids({ kinds: ['identification', 'rejection'] })).to.deep.equal([s.found.id, s.refused.id]);
    expect(await ids({ kinds: [] })).to.deep.equal([]);
    expect(await ids({ ids: [s.raised.id, s.plain.id, 'none'] })).to.deep.equal([s.plain.id, s.raised.id]);
    expect(await ids({ ids: [] })).to.deep.equal([]);
    expect(await ids({ subject: 's/1' })).to.deep.equal([s.byCrew.id, s.found.id, s.raised.id, s.taken.id]);
    expect(await ids({ subject: 's/', kinds: ['reading'] })).to.deep.equal([s.byCrew.id, s.plain.id]);
    expect(await ids({ by: 'crew 4' })).to.deep.equal([s.byCrew.id, s.found.id]);
    expect(await ids({ by: 'operator' })).to.deep.equal([s.taken.id]);
    expect(await ids({ instrument: 'P-07' })).to.deep.equal([s.byCrew.id, s.found.id]);
    expect(await ids({ fromUs: at(1), toUs: at(3) })).to.deep.equal([s.plain.id, s.elsewhere.id, s.found.id]);
    expect(await ids({ currentOnly: true })).to.deep.equal([s.found.id, s.taken.id]);
    expect(await ids({ currentOnly: true, kinds: ['reading', 'alert'], subject: 's/1' })).to.deep.equal([
      s.byCrew.id,
      s.taken.id,
    ]);
  });

  it('take any text as a subject and find nothing by it', async () => {
    await stocked();
    for (const subject of ["s/1' or '1'='1", 's/%', 's_1', '', '/', '\u0000', '💡/']) {
      expect(await ids({ subject }), subject).to.deep.equal([]);
    }
  });

  it('are counted as they are found', async () => {
    await stocked();
    expect(Object.fromEntries(await ledger().count({}))).to.deep.equal({
      reading: 3,
      rejection: 1,
      identification: 1,
      alert: 2,
    });
    expect(Object.fromEntries(await ledger().count({ subject: 's/1', limit: 1, currentOnly: true }))).to.deep.equal({
      identification: 1,
      alert: 1,
    });
  });

  it('say what is wrong with a limit or a key that cannot be', async () => {
    for (const [query, told] of [
      [{ limit: 0 }, 'query.limit is 0; right would be a whole number from 1 to 10000'],
      [{ limit: 1.5 }, 'query.limit is 1.5'],
      [{ after: 'nonsense' }, 'query.after is "nonsense"; right would be what the page before gave as next'],
      [{ ids: Array.from({ length: 1001 }, String) }, 'query.ids names 1001 records'],
    ] as const) {
      const failure = await ledger()
        .records(query)
        .catch((e: Error) => e);
      expect((failure as Error).message).to.contain(told);
    }
  });

  it('come page by page exactly as in one piece, for any page length, order and times (property, 30 cases)', async () => {
    let run = 0;
    await fc.assert(
      fc.asyncProperty(
        fc.array(fc.record({ what: fc.integer({ min: 0, max: 3 }), second: fc.integer({ min: 0, max: 3 }) }), {
          maxLength: 14,
        }),
        fc.integer({ min: 1, max: 5 }),
        fc.boolean(),
        async (specs, limit, newestFirst) => {
          const subject = `run${run++}`;
          await Promise.all(specs.map(({ what, second }, i) => storeSome(ledger(), subject, what, second, i)));
          const query: RecordQuery = { subject, ...(newestFirst ? { order: 'newest-first' } : {}) };
          const whole = (await ledger().records(query)).records;
          expect(whole).to.have.length(specs.length);
          const paged: PhaseloomRecord[] = [];
          let after: string | undefined;
          do {
            const page = await ledger().records({ ...query, limit, ...(after ? { after } : {}) });
            expect(page.records.length).to.be.at.most(limit);
            paged.push(...page.records);
            after = page.next;
          } while (after);
          expect(paged.map((r) => r.id)).to.deep.equal(whole.map((r) => r.id));
          const times = whole.map((r) => (r.kind === 'reading' ? r.takenAt : r.at));
          expect(times).to.deep.equal([...times].sort((a, b) => (a < b ? -1 : 1) * (newestFirst ? -1 : 1)));
        },
      ),
      { seed: 14, numRuns: 30 },
    );
  });

  it('that come while somebody turns pages neither repeat nor hide others', async () => {
    const stored = Array.from({ length: 9 }, (_, n) => reading('s/1', n * 10));
    await ledger().admit(stored.map(admitted), []);
    const first = await ledger().records({ limit: 4 });
    await ledger().admit([reading('s/1', 5), reading('s/1', 55)].map(admitted), []);
    const rest = await ledger().records({ limit: 100, after: first.next! });
    const seen = [...first.records, ...rest.records].map((r) => r.id);
    expect(new Set(seen).size).to.equal(seen.length);
    expect(seen).to.include.members(stored.map((r) => r.id));
  });
}

async function storeSome(ledger: Ledger, subject: string, what: number, second: number, i: number): Promise<void> {
  if (what === 0) await ledger.admit([admitted(reading(subject, second, { note: String(i) }))], []);
  else if (what === 1) await ledger.keep(identification(subject, second, { probability: i / 100 }));
  else if (what === 2) await ledger.keep(rejection(subject, second, { bytes: i }));
  else await ledger.saveAlert(alert(`${subject}/${i}`, 1, second, { subject }));
}
