import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { at, BUSES, feeder13Config, PHASES, readAt } from '../kit/feeder13';
import { ledgerOf, newLedger } from '../kit/ledger-in-flow';
import { type FlowNode, nodeRed, type Rig } from '../kit/node-red';
import { type Manners, POLITE, type Receiver, receiver } from './receiver';
import { scaled, tell, until } from './scale';

const COUNT = scaled(90, 3000);
const TERMINALS = BUSES.flatMap((bus) => PHASES.map((_, k) => `${bus}/${k + 1}`));

const FAULTS: readonly { name: string; manners?: Manners; processesUnheard?: boolean }[] = [
  { name: 'down' },
  { name: 'answering 500', manners: { process: false, answer: 500 } },
  { name: 'answering 429 with Retry-After', manners: { process: false, answer: 429, retryAfterS: 1 } },
  { name: 'slow', manners: { process: true, answer: 204, delayMs: 150 } },
  { name: 'never answering, though it processes', manners: { process: true, answer: 'never' }, processesUnheard: true },
  {
    name: 'cutting the connection, though it processes',
    manners: { process: true, answer: 'cut' },
    processesUnheard: true,
  },
];

describe('the outside system in trouble', function () {
  this.timeout(120_000);
  let rig: Rig;
  let there: Receiver;
  before(async () => {
    rig = await nodeRed();
  });
  beforeEach(async () => {
    there = await receiver();
  });
  afterEach(async () => {
    await rig.deploy([]);
    await there.down();
  });

  const flow = (): FlowNode[] => [
    ...(feeder13Config() as unknown as FlowNode[]),
    { ...newLedger(), durability: 'normal' },
    {
      id: 'off',
      type: 'phaseloom-handoff',
      ledger: 'ledger',
      destination: 'outside',
      way: 'http',
      url: there.url,
      timeoutS: '0.5',
      longestPauseS: '1',
      wires: [['accepted'], ['abandoned']],
    },
    rig.probe('accepted'),
    rig.probe('abandoned'),
  ];
  const records = (from: number, to: number) =>
    Array.from({ length: to - from }, (_, n) =>
      readAt(TERMINALS[(from + n) % TERMINALS.length]!, { atUs: at(from + n) }),
    );

  for (const { name, manners, processesUnheard } of FAULTS) {
    it(`${name}: every record is accepted in the end, each subject in its order`, async () => {
      await rig.deploy(flow());
      const third = Math.floor(COUNT / 3);
      rig.send('off', { payload: records(0, third) });
      await rig.until('accepted', Math.min(10, third), 10_000);
      if (manners) there.manners = manners;
      else await there.down();
      rig.send('off', { payload: records(third, 2 * third) });
      await sleep(1200);
      rig.send('off', { payload: records(2 * third, COUNT) });
      await sleep(300);
      there.manners = POLITE;
      if (!manners) await there.up();
      await until(() => rig.got('accepted').length >= COUNT, 60_000);

      const keys = there.processed.map((p) => p.key);
      const distinct = new Set(keys);
      tell(name, {
        published: COUNT,
        arrived: distinct.size,
        duplicates: keys.length - distinct.size,
        calls: there.calls,
      });
      expect([...distinct].sort()).to.deep.equal(
        records(0, COUNT)
          .map((r) => r.id)
          .sort(),
      );
      expect(
        rig
          .got('accepted')
          .map((m) => m.handoff.key)
          .sort(),
      ).to.deep.equal([...distinct].sort());
      expect(rig.got('abandoned')).to.deep.equal([]);
      if (!processesUnheard && manners?.answer !== 204) {
        expect(keys.length - distinct.size, 'none was processed twice').to.be.at.most(manners ? 0 : 16);
      }
      for (const terminal of TERMINALS) expect(firstOf(terminal)).to.deep.equal(expected(terminal));
      expect(await (await ledgerOf(rig)).deliveries({ state: 'waiting' })).to.deep.equal([]);
    });
  }

  /** keys about a terminal in the order of their first processing */
  const firstOf = (terminal: string) => [
    ...new Set(there.processed.filter((p) => p.subject === terminal).map((p) => p.key)),
  ];
  const expected = (terminal: string) =>
    records(0, COUNT)
      .filter((r) => r.terminal === terminal)
      .map((r) => r.id);

  it('a receiver that refuses one record for good holds up only that one', async () => {
    await rig.deploy(flow());
    there.manners = { process: false, answer: 422 };
    rig.send('off', { payload: records(0, 1) });
    await rig.until('abandoned', 1, 20_000);
    there.manners = POLITE;
    rig.send('off', { payload: records(TERMINALS.length, TERMINALS.length + 1) });
    await rig.until('accepted', 1, 10_000);
    expect(there.processed).to.have.length(1);
    const [given] = await (await ledgerOf(rig)).deliveries({ state: 'abandoned' });
    expect(given!.lastError).to.equal('answered 422');
  });
});
