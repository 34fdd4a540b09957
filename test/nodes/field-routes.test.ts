import { expect } from 'chai';
import { at, feeder13, feeder13Config, readAt } from '../kit/feeder13';
import { ledgerOf, newLedger } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';

const DOOR = {
  id: 'door',
  type: 'phaseloom-readings-in',
  ledger: 'ledger',
  network: 'network',
  wires: [['good'], ['bad']],
};
const BOARD = { id: 'board', type: 'phaseloom-board', ledger: 'ledger', network: 'network', frame: 'frame' };

describe('the routes behind the field page', () => {
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });
  const deploy = (...nodes: object[]) =>
    rig.deploy([
      ...feeder13Config(feeder13()),
      newLedger(),
      ...(nodes as (typeof DOOR)[]),
      rig.probe('good'),
      rig.probe('bad'),
    ]);
  const at_ = (path: string) => `http://127.0.0.1:${rig.port}/phaseloom/api/field/${path}`;
  const post = async (body: unknown, headers: Record<string, string> = { 'x-phaseloom': 'field' }) => {
    const answer = await fetch(at_('readings'), { method: 'POST', headers, body: JSON.stringify(body) });
    return { status: answer.status, body: (await answer.json()) as Record<string, unknown> };
  };

  it('give the frame and the network as they are, and whether readings can be entered', async () => {
    await deploy(DOOR, BOARD);
    const pack = (await (await fetch(at_('pack'))).json()) as Record<string, unknown>;
    expect(pack.network).to.deep.equal({ ...JSON.parse(JSON.stringify(feeder13())), openPoints: [] });
    expect(pack.frame).to.deep.equal(JSON.parse(JSON.stringify(rig.node('frame').frame)));
    expect(pack.canEnter).to.equal(true);
  });

  it('give the rule of the tie check on this ledger and network, and the strict one without', async () => {
    const TIE = {
      id: 'tie',
      type: 'phaseloom-tie-check',
      ledger: 'ledger',
      network: 'network',
      frame: 'frame',
      wires: [],
      toleranceDeg: 5,
      windowS: 120,
      requireProof: 'attested-time',
    };
    const rule = async () => ((await (await fetch(at_('pack'))).json()) as Record<string, unknown>).tieRule;
    await deploy(DOOR, BOARD, TIE);
    expect(await rule()).to.deep.equal({ toleranceDeg: 5, windowS: 120, requireProof: 'attested-time' });
    await deploy(DOOR, BOARD, { ...TIE, ledger: '' });
    expect(await rule()).to.deep.equal({ toleranceDeg: 10, windowS: 600, requireProof: 'common-conductor' });
  });

  it('store what fits, once, and say what is wrong with the rest', async () => {
    await deploy(DOOR, BOARD);
    const good = readAt('671/1', { atUs: at(0) });
    const wrong = { ...good, terminal: '671/l' };
    const { body } = await post({ readings: [good, wrong, 7] });
    const outcomes = body.outcomes as { stored: boolean; id: string | null; problems: { code: string }[] }[];
    expect(outcomes.map((o) => [o.stored, o.id, o.problems[0]?.code])).to.deep.equal([
      [true, good.id, undefined],
      [false, null, 'terminal-unknown'],
      [false, null, 'schema-type'],
    ]);
    expect((await post({ readings: [good] })).body).to.deep.equal({
      outcomes: [{ stored: true, id: good.id, problems: [] }],
    });
    expect(await (await ledgerOf(rig)).readingsAfter(0, 10)).to.have.length(1);
    expect((await rig.next('good')).payload).to.deep.equal(good);
    expect((await rig.until('bad', 2)).map((m) => m.payload.kind)).to.deep.equal(['rejection', 'rejection']);
  });

  it('lead to a job sheet that finds a work order behind the newer readings of another', async () => {
    await deploy(DOOR, BOARD);
    const own = readAt('671/1', { atUs: at(0), over: { job: 'W-1' } });
    const later = Array.from({ length: 25 }, (_, i) => readAt('671/1', { atUs: at(i + 1), over: { job: 'W-2' } }));
    expect((await post({ readings: [own, ...later] })).status).to.equal(200);
    const sheet = async (job: string) => {
      const asked = `place=671&from=2026-05-04T00:00:00Z&to=2026-05-05T00:00:00Z&job=${job}`;
      return (await (await fetch(at_(`../job-sheet?${asked}`))).json()) as { readings: unknown[]; hasMore: boolean };
    };
    const first = await sheet('W-1');
    expect([first.readings.length, first.hasMore]).to.deep.equal([1, false]);
    const second = await sheet('W-2');
    expect([second.readings.length, second.hasMore]).to.deep.equal([20, true]);
    expect((await fetch(at_('../events'), { method: 'HEAD' })).status).to.equal(400);
  });

  it('take nothing from another site, nothing of another shape, and nothing without a front door', async () => {
    await deploy(DOOR, BOARD);
    const good = readAt('671/1', { atUs: at(0) });
    expect((await post({ readings: [good] }, {})).status).to.equal(403);
    for (const body of [{}, { readings: [] }, [good], { readings: Array(201).fill(good) }]) {
      expect((await post(body)).body.error).to.equal('the body must be {"readings": [...]} with 1 to 200 readings');
    }
    await deploy(BOARD);
    expect(await post({ readings: [good] })).to.deep.equal({
      status: 503,
      body: {
        code: 'config',
        error:
          'no node "readings in" works with the same ledger node as this board: readings typed by hand go through it',
      },
    });
    await deploy({ ...BOARD, network: '' });
    expect(await (await fetch(at_('pack'))).json()).to.include({ code: 'config' });
  });
});
