import http from 'node:http';
import { expect } from 'chai';
import { middlewaresOf, passed } from '../../nodes/board/middlewares';
import type { Ledger } from '../../nodes/ledger/ledger';
import { at, BUSES, feeder13Config, readAt } from '../kit/feeder13';
import { admitted, ledgerOf, newLedger } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';
import { comparisonAt } from './alert-samples';

describe('the config node board', () => {
  let rig: Rig;
  let ledger: Ledger;
  before(async () => {
    rig = await nodeRed();
  });
  beforeEach(async () => {
    await deploy();
    ledger = await ledgerOf(rig);
  });
  const deploy = (over: object = {}) =>
    rig.deploy([
      ...feeder13Config(),
      newLedger(),
      { id: 'board', type: 'phaseloom-board', ledger: 'ledger', network: 'network', frame: 'frame', ...over },
      { id: 'desk', type: 'phaseloom-alert-desk', ledger: 'ledger', holdS: 0, wires: [['p']] },
      rig.probe('p'),
    ]);
  const at_ = (path: string) => `http://127.0.0.1:${rig.port}/phaseloom/${path}`;
  const get = async (path: string) => (await fetch(at_(path))).json() as Promise<Record<string, unknown>>;
  const post = (path: string, body: unknown, headers: Record<string, string> = { 'x-phaseloom': 'board' }) =>
    fetch(at_(path), { method: 'POST', headers, body: JSON.stringify(body) });
  const raised = async () => {
    const comparison = comparisonAt(0, 'OP-1', 'not-the-same-phase');
    await ledger.keep(comparison);
    rig.send('desk', { payload: comparison });
    // What the desk of the test before had still to say may come first.
    for (;;) {
      const { payload } = await rig.next('p');
      if (payload.transition === 'raised') return payload;
    }
  };

  it('serves its page below the path, and goes to the folder', async () => {
    const answer = await fetch(at_(''));
    expect(answer.headers.get('content-type')).to.match(/^text\/html/);
    expect(answer.headers.get('content-security-policy')).to.include("default-src 'self'");
    const bare = await fetch(at_('').slice(0, -1), { redirect: 'manual' });
    expect([bare.status, bare.headers.get('location')]).to.deep.equal([308, 'phaseloom/']);
    expect((await fetch(at_('nothing/here'))).status).to.equal(404);
  });

  it('stands where the setting says, and only while it is deployed', async () => {
    await deploy({ path: 'ops/board/' });
    expect((await fetch(at_(''))).status).to.equal(404);
    expect((await fetch(`http://127.0.0.1:${rig.port}/ops/board/`)).status).to.equal(200);
  });

  it('tells of alerts, takes actions to the desk, and gives their history', async () => {
    const alert = await raised();
    const named = { place: 0, alert };
    const list = { alerts: [alert], count: 1, calling: 1, named: null, canAct: true };
    expect(await get('api/alerts')).to.deep.equal(list);
    const wanted = await get(`api/alerts?limit=0&key=${encodeURIComponent(alert.key)}`);
    expect(wanted).to.deep.equal({ ...list, alerts: [], named });
    expect((await fetch(at_('api/alerts?offset=-1'))).status).to.equal(400);
    const answer = await post('api/alerts/act', { action: 'acknowledge', key: alert.key, by: 'Op 1' });
    expect(((await answer.json()) as { alert: object }).alert).to.include({ state: 'acknowledged', by: 'Op 1' });
    expect((await ledger.alerts({ keys: [alert.key] }))[0]).to.include({ state: 'acknowledged', by: 'Op 1' });
    const { history } = await get(`api/alerts/history?key=${encodeURIComponent(alert.key)}`);
    expect((history as { transition: string }[]).map((h) => h.transition)).to.deep.equal(['raised', 'acknowledged']);
  });

  it('says why an action is not possible', async () => {
    const { key } = await raised();
    const bad = await post('api/alerts/act', { action: 'shelve', key, by: 'Op 1', minutes: 5 });
    expect([bad.status, await bad.json()]).to.deep.equal([
      400,
      { code: 'reason-missing', error: `${key}: shelve needs words: a reason or comment` },
    ]);
    const text = await fetch(at_('api/alerts/act'), { method: 'POST', headers: { 'x-phaseloom': 'board' }, body: '{' });
    expect(((await text.json()) as { code: string }).code).to.equal('body-unreadable');
  });

  it('takes no action from another site', async () => {
    const { key } = await raised();
    const act = { action: 'acknowledge', key, by: 'x' };
    const foreign = [
      {},
      { 'x-phaseloom': '1', origin: 'http://elsewhere.example' },
      { 'x-phaseloom': '1', 'sec-fetch-site': 'cross-site' },
    ];
    for (const headers of foreign) {
      // fetch would not let us set sec-fetch-site
      const status = await new Promise((done) => {
        const req = http.request(at_('api/alerts/act'), { method: 'POST', headers }, (res) => done(res.statusCode));
        req.end(JSON.stringify(act));
      });
      expect(status).to.equal(403);
    }
    expect((await ledger.alerts({ keys: [key] }))[0]!.state).to.equal('unacknowledged');
  });

  it('finds records, and one with all it rests on', async () => {
    await admitted(rig, readAt('671/1', { atUs: at(0) }), readAt('671/2', { atUs: at(1) }));
    const found = (await get('api/records?kinds=reading&subject=671/&order=newest-first')) as {
      records: { id: string; terminal: string }[];
    };
    expect(found.records.map((r) => r.terminal)).to.deep.equal(['671/2', '671/1']);
    const comparison = comparisonAt(0, 'OP-1', 'same-phase', { from: found.records.map((r) => r.id) });
    await ledger.keep(comparison);
    const one = (await get(`api/record?id=${comparison.id}`)) as { record: object; restsOn: { id: string }[] };
    expect(one.record).to.deep.equal(comparison);
    expect(one.restsOn.map((r) => r.id)).to.have.members(comparison.from);
    expect(await get('api/record?id=none')).to.include({ code: 'not-found' });
    expect(((await get('api/records?colour=red')) as { error: string }).error).to.match(/query.colour is not known/);
  });

  it('gives the records found as files', async () => {
    const [stored] = await admitted(rig, readAt('671/1', { atUs: at(0), over: { position: { lat: 45, lon: -111 } } }));
    const file = async (format: string) => fetch(at_(`api/records/file?kinds=reading&format=${format}`));
    const csv = await file('csv');
    expect(csv.headers.get('content-disposition')).to.equal('attachment; filename="records.csv"');
    expect((await csv.text()).split('\r\n')[1]).to.include(stored!.payload.id);
    // Magic number of a file: Apache Parquet format specification, "File Format".
    const parquet = Buffer.from(await (await file('parquet')).arrayBuffer());
    expect([parquet.subarray(0, 4).toString(), parquet.subarray(-4).toString()]).to.deep.equal(['PAR1', 'PAR1']);
    const geo = (await (await file('geojson')).json()) as { type: string; features: { geometry: object }[] };
    expect(geo.features[0]!.geometry).to.deep.equal({ type: 'Point', coordinates: [-111, 45] });
    expect((await file('xlsx')).status).to.equal(400);
  });

  it('shows the sites of the network, and one with its readings and their fitness', async () => {
    const network = (await get('api/network')) as { sites: { id: string; terminals: object[] }[]; phases: string[] };
    expect([network.phases, network.sites.length]).to.deep.equal([['A', 'B', 'C'], BUSES.length]);
    expect(network.sites[0]!.terminals[0]).to.deep.equal({ id: '632/1', recorded: 'A', phase: null, verdict: null });
    await admitted(rig, readAt('671/1', { atUs: at(0), over: { instrument: { id: 'P-9', selfTest: 'fail' } } }));
    const { terminals } = (await get('api/site?id=671')) as { terminals: Record<string, { grade: string }>[] };
    expect(terminals.map((t) => t.fitness?.grade)).to.deep.equal(['refused', undefined, undefined]);
    expect(await get('api/site?id=nowhere')).to.include({ code: 'not-found' });
    await deploy({ network: '' });
    expect(((await get('api/network')) as { error: string }).error).to.match(/no network is chosen for this board/);
  });

  it('tells how things are', async () => {
    await admitted(rig, readAt('650/A', { atUs: at(0), against: 'utc' }));
    const health = await get('api/health');
    expect(health).to.include({ ok: true, readings: 1, deliveriesWaiting: 0 });
    const [reference] = health.references as { id: string; last: { terminal: string } }[];
    expect([reference!.id, reference!.last.terminal]).to.deep.equal(['SUB', '650/A']);
  });

  it('streams what is committed', async () => {
    const abort = new AbortController();
    const answer = await fetch(at_('api/events'), { signal: abort.signal });
    expect(answer.headers.get('content-type')).to.equal('text/event-stream');
    const comparison = comparisonAt(0, 'OP-1', 'same-phase');
    let text = '';
    const decoder = new TextDecoder();
    for await (const part of answer.body as unknown as AsyncIterable<Uint8Array>) {
      text += decoder.decode(part);
      if (text.includes('event: open') && !text.includes('records')) await ledger.keep(comparison);
      if (text.includes('event: records') && text.endsWith('\n\n')) break;
    }
    abort.abort();
    expect(text).to.include(`event: records\ndata: {"kinds":["comparison"],"ids":["${comparison.id}"]}`);
  });
});

describe('what Node-RED puts before its HTTP nodes', () => {
  const order: string[] = [];
  const step = (name: string, error?: string) => (_req: unknown, _res: unknown, next: (e?: unknown) => void) => {
    order.push(name);
    next(error);
  };
  beforeEach(() => order.splice(0));
  const run = (...steps: ReturnType<typeof step>[]) =>
    passed(
      middlewaresOf({ settings: { httpNodeMiddleware: steps } } as never),
      {} as never,
      {} as never,
      (e) => order.push(`error ${e}`),
      () => order.push('page'),
    );

  it('runs before a page of the board, in turn', () => {
    run(step('one'), step('two'));
    expect(order).to.deep.equal(['one', 'two', 'page']);
  });

  it('keeps the page back when it refuses', () => {
    run(step('one', 'no'), step('two'));
    expect(order).to.deep.equal(['one', 'error no']);
  });
});
