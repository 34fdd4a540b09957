import { globSync, readFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { expect } from 'chai';
import { type AnyMsg, type FlowNode, nodeRed, type Rig } from '../kit/node-red';

const folder = resolve(__dirname, '../../flows-examples');
const files = globSync('*.json', { cwd: folder }).sort();
const manifest = JSON.parse(readFileSync(resolve(folder, '../package.json'), 'utf8'));

const flowOf = (file: string): FlowNode[] => JSON.parse(readFileSync(join(folder, file), 'utf8'));
/** A debug node shows people what arrives; in a test a probe takes its place. Node-RED is not on port 1880 here. */
const adapted = (flow: FlowNode[], port: number) =>
  flow.map((n) => ({
    ...n,
    ...(n.type === 'debug' ? { type: 'probe' } : {}),
    // One port, free on this machine, for those who send and those who listen by UDP.
    ...(n.type === 'udp out' ? { port: String(port) } : {}),
    ...(n.type === 'phaseloom-synchrophasor-in' ? { localPort: port } : {}),
    ...(typeof n.url === 'string' ? { url: n.url.replace('127.0.0.1:1880', `127.0.0.1:${port}`) } : {}),
  }));

/** What the comment in each flow says will happen, by the button that is pressed and the debug node where it shows. */
const STEPS: Record<string, (press: Press) => Promise<void>> = {
  'alert-desk-and-webhook.json': async (press) => {
    const { accepted, event } = await press('alerts-go', { 'alerts-accepted': 1, 'alerts-event': 1 });
    const { category, transition } = accepted![0]!.payload;
    expect([category, transition]).to.deep.equal(['rotation-conflict', 'raised']);
    const body = JSON.parse(event![0]!.payload);
    expect([body.specversion, body.data.subject]).to.deep.equal(['1.0', 'example/S1']);
    expect(event![0]!.req.headers['idempotency-key']).to.equal(accepted![0]!.payload.id);
    await press('alerts-go', {});
    const { accepted: after } = await press('alerts-ack', { 'alerts-accepted': 2 });
    expect(after!.map((m) => m.payload.transition)).to.deep.equal(['raised', 'acknowledged']);
  },
  'screen.json': async (press) => {
    const { fit, aside } = await press('screen-go', { 'screen-fit': 2, 'screen-aside': 2 });
    expect(fit!.map((m) => m.payload.terminal)).to.deep.equal(['example/S1/1', 'example/S1/2']);
    expect(aside!.map((m) => m.payload.problems[0].code)).to.deep.equal(['self-test-failed', 'battery-low']);
  },
  'phase-id.json': async (press) => {
    const { found } = await press('phaseid-go', { 'phaseid-found': 5 });
    const last = new Map(found!.map(({ payload: f }) => [f.terminal, [f.phase, f.verdict, f.agreesWithRecord]]));
    expect(Object.fromEntries(last)).to.deep.equal({
      'example/S1/1': ['A', 'confirmed', true],
      'example/S1/2': ['B', 'confirmed', false],
      'example/S1/3': ['C', 'confirmed', false],
    });
    const { found: more } = await press('phaseid-go2', { 'phaseid-found': 6 });
    const { verdict, phase, reasons } = more!.at(-1)!.payload;
    expect([verdict, phase, reasons[0].code]).to.deep.equal(['not-proven', null, 'time-quality-unknown']);
    expect(reasons[0].settle).to.be.a('string');
  },
  'feeder-trace.json': async (press) => {
    const { found } = await press('trace-go', { 'trace-found': 1 });
    const [correction] = found!.at(-1)!.payload.corrections;
    expect(correction.cause).to.include({ section: 'm5', change: 'A and B swapped (sequence reversed)' });
    expect(correction.labels.map((l: AnyMsg) => l.section)).to.include.members(['m6', 'm9', 'tap']);
    const { decided } = await press('trace-accept', { 'trace-decided': 1 });
    expect(decided![0]!.payload).to.include({
      kind: 'correction',
      section: 'tap',
      decision: 'accepted',
      by: 'planner 1',
    });
  },
  'rotation.json': async (press) => {
    const { found } = await press('rotation-go', { 'rotation-found': 1 });
    const { sequence, agreesWithRecord, unbalance } = found![0]!.payload;
    expect([sequence, agreesWithRecord]).to.deep.equal(['ACB', false]);
    expect(unbalance.negativeSequencePct).to.be.greaterThan(0);
  },
  'tie-check.json': async (press) => {
    const { found } = await press('tie-go', { 'tie-found': 1 });
    const { verdict, landing, belongs } = found![0]!.payload;
    expect([verdict, landing]).to.deep.equal(['not-the-same-phase', 'rolled']);
    expect(belongs).to.deep.include({ left: 'example/L/1', right: 'example/R/3', landedOn: 'example/R/1' });
    const { found: more } = await press('tie-go2', { 'tie-found': 2 });
    expect(more![1]!.payload.verdict).to.equal('not-proven');
    expect(more![1]!.payload.reasons[0].code).to.equal('time-quality-unknown');
  },
  'phasor-from-samples.json': async (press) => {
    const { readings } = await press('samples-go', { 'samples-readings': 3 });
    expect(
      readings!.map(({ payload: r }) => [r.terminal, Math.round(r.angleDeg) + 0, Math.round(r.voltageV)]),
    ).to.deep.equal([
      ['example/S1/1', 0, 7200],
      ['example/S1/2', -120, 7200],
      ['example/S1/3', 120, 7200],
    ]);
    const { rejected } = await press('samples-bad', { 'samples-rejected': 1 });
    expect(rejected![0]!.payload.problems[0].code).to.equal('clipped');
    const { readings: streamed } = await press('samples-stream', { 'samples-readings': 4 });
    const { takenAt, angleDeg } = streamed![3]!.payload;
    expect([Math.round(Number(takenAt.slice(19, -1)) * 1000), Math.round(angleDeg) + 0]).to.deep.equal([100, 0]);
    const { readings: recorded } = await press('samples-recording', { 'samples-readings': 5 });
    const { payload: r } = recorded![4]!;
    expect([r.takenAt.slice(0, 19), Math.round(r.angleDeg) + 0, Math.round(r.voltageV)]).to.deep.equal([
      '2026-05-04T10:15:30',
      0,
      7200,
    ]);
  },
  'synchrophasor-in.json': async (press) => {
    // What is sent by UDP before the port is open is lost.
    await new Promise((r) => setTimeout(r, 500));
    await press('synchro-config', { 'synchro-configured': 1 });
    const { readings } = await press('synchro-data', { 'synchro-readings': 3 });
    expect(readings!.map(({ payload: r }) => [r.terminal, Math.round(r.angleDeg), r.clock.errorUs])).to.deep.equal([
      ['example/S1/1', 0, 1],
      ['example/S1/2', -120, 1],
      ['example/S1/3', 120, 1],
    ]);
    const { rejected } = await press('synchro-bad', { 'synchro-rejected': 1 });
    expect(rejected![0]!.payload.problems[0].code).to.equal('crc-wrong');
  },
  'load-plan.json': async (press) => {
    const { plan } = await press('loadplan-go', { 'loadplan-plan': 1 });
    const { moves, proven, before, after } = plan![0]!.payload;
    expect([moves.length, proven, after < before]).to.deep.equal([2, true, true]);
    const { plan: confirmed } = await press('loadplan-read', { 'loadplan-plan': 2 });
    const states = confirmed![1]!.payload.moves.map((m: AnyMsg) => [m.id, m.state]);
    expect(Object.fromEntries(states)).to.deep.equal({ 'F1/L': 'open', T1: 'confirmed' });
    const { answer } = await press('loadplan-loading', { 'loadplan-answer': 1 });
    expect(answer![0]!.payload[0].undecided).to.deep.equal({ kW: 12, kvar: 0, loads: 1 });
    const { answer: options } = await press('loadplan-new', { 'loadplan-answer': 2 });
    expect(options![1]!.payload.map((o: AnyMsg) => o.phases[0]).at(-1)).to.equal('A');
  },
  'mapping-another-payload.json': async (press) => {
    const { readings } = await press('mapping-go', { 'mapping-readings': 3 });
    expect(readings!.map((m) => [m.payload.terminal, m.payload.angleDeg, m.payload.voltageV])).to.deep.equal([
      ['example/S1/1', -3.1, 7210],
      ['example/S1/2', -122.4, 7180],
      ['example/S1/3', 117.6, 7240],
    ]);
    const { rejected } = await press('mapping-bad', { 'mapping-rejected': 1 });
    expect(rejected![0]!.payload.kind).to.equal('rejection');
  },
  'metrics.json': async (press) => {
    await press('metrics-go', {});
    const told = /^phaseloom_readings_in_stored_total\{[^}]*\} 1$/m;
    let page: AnyMsg | undefined;
    for (let asked = 1; !told.test(page?.payload) && asked <= 100; asked++) {
      await new Promise((r) => setTimeout(r, 100));
      page = (await press('metrics-ask', { 'metrics-page': asked })).page!.at(-1)!;
    }
    expect(page!.payload).to.match(told);
    expect(page!.health.ready).to.equal(true);
  },
  'query-the-ledger.json': async (press) => {
    await press('query-go', {});
    let found: AnyMsg[] = [];
    for (let asked = 1; found.length < 3 && asked <= 100; asked++) {
      await new Promise((r) => setTimeout(r, 100));
      found = (await press('query-q1', { 'query-d1': asked })).d1!.at(-1)!.payload;
    }
    expect(found.map((f: AnyMsg) => f.phase)).to.have.members(['A', 'B', 'C']);
    const { d2 } = await press('query-q2', { 'query-d2': 1 });
    expect(d2![0]!.payload.trim().split('\n')).to.have.length(4);
    const { d3 } = await press('query-q3', { 'query-d3': 1 });
    expect(d3![0]!.payload.features[0].geometry.coordinates).to.deep.equal([0.02, 0.01]);
    const { d4 } = await press('query-q4', { 'query-d4': 1 });
    expect(d4![0]!.payload.reading).to.equal(3);
  },
};

/** Presses the button of an inject node and waits for so many messages at each debug node, told by the last part of its id. */
type Press = (inject: string, wanted: Record<string, number>) => Promise<Record<string, AnyMsg[]>>;

/** The search for a load plan takes what time the machine lets it have. */
const PATIENCE_MS = 60_000;

const press =
  (rig: Rig): Press =>
  async (inject, wanted) => {
    rig.send(inject, {});
    const got: Record<string, AnyMsg[]> = {};
    for (const [probe, n] of Object.entries(wanted))
      got[probe.split('-').at(-1)!] = await rig.until(probe, n, PATIENCE_MS);
    return got;
  };

describe('the example flows', function () {
  this.timeout(120_000);
  let rig: Rig;
  before(async () => {
    rig = await nodeRed();
  });
  after(() => rig.deploy([]));

  for (const file of files) {
    it(`${file} does what its comment says`, async () => {
      await rig.deploy(adapted(flowOf(file), rig.port));
      await STEPS[file]!(press(rig));
      expect(rig.errors).to.deep.equal([]);
    });
  }

  it('every example is checked here', () => expect(Object.keys(STEPS).sort()).to.deep.equal(files));

  it('every node that is not a config node stands in an example, and only with core nodes beside it', () => {
    const all = files.flatMap(flowOf);
    const ours = Object.keys(manifest['node-red'].nodes).filter(
      (t) => !/-(ledger|frame|reference|network|board)$/.test(t),
    );
    const used = new Set(all.map((n) => n.type));
    expect(ours.filter((t) => !used.has(t))).to.deep.equal([]);
    const core = new Set(['tab', 'comment', 'inject', 'debug', 'udp out', 'http in', 'http response']);
    expect([...used].filter((t) => !t.startsWith('phaseloom-') && !core.has(t))).to.deep.equal([]);
  });
});
