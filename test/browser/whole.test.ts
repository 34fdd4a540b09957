/**
 * The whole way by hand of a robot: `npm start`, a mismatch over MQTT, the board, the ledger in plain SQL, a crew at the field page, and
 * the records as files, read by DuckDB. What is really on the conductors: the solved IEEE 13-node feeder and what was planted on it.
 */
import { type ChildProcess, spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdirSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { DatabaseSync } from 'node:sqlite';
import { DuckDBInstance } from '@duckdb/node-api';
import { expect } from 'chai';
import { connectAsync } from 'mqtt';
import type { Browser, Page } from 'playwright-core';
import { INSTRUMENTS, measure, type Taking } from '../../flows-examples/demo/measuring';
import { placeOf, REFERENCE } from '../../flows-examples/demo/places';
import { OPEN_POINTS } from '../../flows-examples/demo/planted';
import { chance } from '../../flows-examples/demo/random';
import { TOPIC_ROOT } from '../../flows-examples/demo/simulator';
import type { Plan } from '../../lib/records';
import { launch, open, type Seen } from '../kit/board-browser';
import { freePort } from '../kit/broker';

interface Feature {
  readonly id: string;
  readonly geometry: object | null;
  readonly properties: Readonly<Record<string, unknown>>;
}

const ROOT = resolve(__dirname, '../..');
const SHOTS = process.env.PHASELOOM_SHOTS;
const AGAINST: Taking = { against: 'reference', coupling: 'contact', by: 'crew 9', job: 'W-5' };
const [ROLLED, SWAPPED] = ['rolled', 'swapped'].map((truth) => OPEN_POINTS.find((p) => p.truth === truth)!) as [
  (typeof OPEN_POINTS)[number],
  (typeof OPEN_POINTS)[number],
];

describe('from the instrument to the archive, as people meet it', function () {
  this.timeout(180_000);
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-whole-'));
  let child: ChildProcess;
  let printed = '';
  let browser: Browser;
  let seen: Seen;
  let page: Page;

  const addressOf = (name: string) => new RegExp(`^ +${name} +(\\S+)`, 'm').exec(printed)?.[1];

  before(async () => {
    const env = { ...process.env, PHASELOOM_DEMO_DIR: folder, PORT: String(await freePort()), MQTT_URL: '' };
    // The crews of the story stay away: only the reference station reports.
    const quiet = { ...env, PHASELOOM_DEMO_PACE: '0.00001', PHASELOOM_DEMO_SECONDS: '' };
    const start = join(ROOT, 'flows-examples/demo/start.ts');
    child = spawn(process.execPath, ['--import', 'tsx', start], { cwd: ROOT, env: quiet, stdio: 'pipe' });
    for (const stream of [child.stdout!, child.stderr!]) stream.on('data', (text) => (printed += text));
    const deadline = Date.now() + 90_000;
    while (!addressOf('broker')) {
      if (child.exitCode !== null || Date.now() > deadline) throw new Error(`the demo did not start:\n${printed}`);
      await new Promise((later) => setTimeout(later, 100));
    }
    browser = await launch();
    seen = await open(browser, addressOf('board')!, 1440);
    page = seen.page;
    await page.getByText('● live').waitFor();
  });
  after(async () => {
    await browser?.close();
    if (child && child.exitCode === null) {
      const gone = once(child, 'exit');
      child.kill('SIGTERM');
      await gone;
    }
    rmSync(folder, { recursive: true, force: true });
  });

  const shot = async (name: string) => {
    if (!SHOTS) return;
    mkdirSync(SHOTS, { recursive: true });
    await page.screenshot({ path: join(SHOTS, `${name}.png`) });
  };
  const sql = (question: string, ...given: string[]) => {
    const database = new DatabaseSync(join(folder, 'phaseloom.sqlite'), { readOnly: true });
    const rows = database.prepare(question).all(...given) as Record<string, unknown>[];
    database.close();
    return rows;
  };
  const taken = (site: string, conductor: number, noise = chance(9)) =>
    measure(placeOf.get(site)!, conductor, INSTRUMENTS.first, AGAINST, Date.now() * 1000, noise);

  it('a mismatch published over MQTT stands on the board, and is acknowledged there and in the ledger', async () => {
    const client = await connectAsync(addressOf('broker')!);
    for (const site of [ROLLED.left, ROLLED.right]) {
      for (const conductor of [0, 1, 2]) {
        const reading = taken(site, conductor);
        await client.publishAsync(`${TOPIC_ROOT}/${reading.terminal}`, JSON.stringify(reading), { qos: 1 });
      }
    }
    const publishedMs = Date.now();
    const row = page.locator('.list-row', { hasText: ROLLED.id.split('/')[1]! });
    await row.waitFor();
    if (SHOTS) console.log(`      on the board ${Date.now() - publishedMs} ms after the last reading was acknowledged`);
    await client.endAsync();
    await row.click();
    await page.getByLabel('You are').fill('Desk 2');
    await page.getByText('not the same phase, rolled').first().waitFor();
    await shot('whole-alert');
    await page.getByRole('button', { name: 'Acknowledge' }).click();
    await page
      .getByText(/acknowledged by Desk 2/)
      .first()
      .waitFor();
    const key = `tie-mismatch:${ROLLED.id}`;
    const [alert] = sql("select state, body ->> 'by' as by from alert where key = ?", key);
    expect(alert).to.deep.include({ state: 'acknowledged', by: 'Desk 2' });
    const made = sql('select transition, made_by from alert_transition where key = ? order by revision', key);
    expect(made.map((t) => t.transition)).to.deep.equal(['raised', 'acknowledged']);
  });

  it('a crew types six angles on its phone and is told of a swap', async () => {
    const field = await browser.newPage({ viewport: { width: 360, height: 740 } });
    field.setDefaultTimeout(15_000);
    await field.goto(`${addressOf('board')}field.html?place=${encodeURIComponent(SWAPPED.id)}`);
    await field.getByLabel('Who reads').fill('crew 9');
    await field.getByLabel('Angles are read against').selectOption(REFERENCE.id);
    await field.getByLabel('Number of the instrument').pressSequentially('P-03');
    await field.getByLabel('It shows that it is locked').check();
    await field.getByLabel('Time error').fill('1');
    for (const site of [SWAPPED.left, SWAPPED.right]) {
      for (const conductor of [0, 1, 2]) {
        const { terminal, angleDeg } = taken(site, conductor, chance(3));
        await field.getByRole('heading', { level: 3, name: String(terminal) }).waitFor();
        await field.getByLabel('Angle, degrees').fill(Number(angleDeg).toFixed(1));
        await field.getByRole('button', { name: 'Next terminal' }).click();
      }
    }
    await field.getByText('not the same phase, swapped').waitFor();
    if (SHOTS) await field.screenshot({ path: join(SHOTS, 'whole-field.png'), fullPage: true });
    await field.getByRole('status').filter({ hasText: 'all sent' }).waitFor();
    await field.close();
    await page.locator('.list-row', { hasText: SWAPPED.id.split('/')[1]! }).waitFor();
    const readings = sql('select count(*) as n from reading where taken_by = ? and job is null', 'crew 9');
    expect(readings).to.deep.equal([{ n: 6 }]);
  });

  it('a plan is made on the board; readings published after the work confirm a move, and what nobody read stays open', async () => {
    const client = await connectAsync(addressOf('broker')!);
    const publish = (reading: Record<string, unknown>) =>
      client.publishAsync(`${TOPIC_ROOT}/${reading.terminal}`, JSON.stringify(reading), { qos: 1 });
    // The flow plans by itself once no trace has come for a while; that plan first, so that it does not come between.
    await page.goto(`${addressOf('board')}#plan`);
    const work = page.getByRole('region', { name: 'Work list' });
    await work.waitFor({ timeout: 60_000 });
    await publish(taken('quillmere/F3/S126', 0));
    await page.goto(`${addressOf('board')}#alerts`);
    await page.locator('.list-row', { hasText: 'F3/S126/1' }).waitFor();
    await page.goto(`${addressOf('board')}#plan`);
    await page.getByLabel('Most moves').fill('2');
    await page.getByRole('button', { name: 'Plan anew' }).click();
    await work.getByText('lateral F3/orchard-1').waitFor();
    await work.getByText('2 open, 0 confirmed, 0 contradicted').waitFor();
    await page.getByRole('region', { name: 'What each further move buys' }).getByText('Kept with the plan.').waitFor();
    const plan = JSON.parse(sql("select body from finding where kind = 'plan'").at(-1)!.body as string) as Plan;
    const { id, to, terminals } = plan.moves.find((m) => m.terminals.length > 0)!;
    // The work is done: at its terminals stand the phases that it was to go to. Pole S112 has all three of them to read.
    for (const [k, terminal] of terminals.entries()) {
      await publish({ ...taken('quillmere/F3/S112', 'ABC'.indexOf(to[k]!)), terminal });
    }
    await client.endAsync();
    await work.getByText('1 open, 1 confirmed, 0 contradicted').waitFor();
    const done = work.getByRole('listitem').filter({ hasText: id });
    await done.getByText(/^confirmed by readings/).waitFor();
    await shot('whole-plan');
  });

  it('the records come as CSV, Parquet and GeoJSON, and DuckDB reads from them what the ledger holds', async () => {
    await page.goto(`${addressOf('board')}#records?kinds=comparison`);
    await page.locator('.list-row').first().waitFor();
    const download = async (name: string) => {
      const coming = page.waitForEvent('download');
      await page.getByRole('link', { name, exact: true }).click();
      return (await coming).path();
    };
    const [csv, parquet, geojson] = [await download('CSV'), await download('Parquet'), await download('GeoJSON')];
    const held = sql(
      "select id, subject, verdict, body ->> 'landing' as landing from finding where kind = 'comparison'",
    );
    expect(held.length).to.be.at.least(2);
    const connection = await (await DuckDBInstance.create()).connect();
    for (const source of [`read_csv('${csv}', header = true)`, `read_parquet('${parquet}')`]) {
      const reader = await connection.runAndReadAll(`select id, openPoint as subject, verdict, landing from ${source}`);
      expect(reader.getRowObjectsJson(), source).to.have.deep.members(held);
    }
    const { type, features } = JSON.parse(readFileSync(geojson, 'utf8'));
    expect(type).to.equal('FeatureCollection');
    const told = (features as Feature[]).map(({ id, properties: p }) => [id, p.verdict, p.landing]);
    expect(told).to.have.deep.members(held.map((h) => [h.id, h.verdict, h.landing]));
    expect(features.some((f: Feature) => f.geometry !== null)).to.equal(true);
    connection.closeSync();
  });

  it('nothing went wrong in the page, and it asked nobody but the board', () => {
    expect(seen.troubles).to.deep.equal([]);
  });
});
