/** The field page tells a crew where a reading tells most. */
import { expect } from 'chai';
import { angle, identificationAt, trunk } from '../kit/feeder-trunk';
import { ledgerOf, newLedger } from '../kit/ledger-in-flow';
import { nodeRed, type Rig } from '../kit/node-red';
import { type Browser, openBrowser, PHONE, violations } from '../kit/phone';

const at = '2026-05-04T10:00:00.000000Z';
const read = (k: number, phases: string) =>
  [...phases].map((really, i) => identificationAt(`t${k}${'ABC'[i]}`, angle(really), at));

describe('where a reading tells most, on the field page', function () {
  this.timeout(60_000);
  let rig: Rig;
  let browser: Browser;
  before(async () => {
    rig = await nodeRed();
    browser = await openBrowser();
    const places = [3, 6, 9, 10, 12].map((k) => ({
      id: `pole ${k}`,
      terminals: ['A', 'B', 'C'].map((p) => `t${k}${p}`),
    }));
    const network = {
      id: 'net',
      terminals: places.flatMap((p) => p.terminals.map((id) => ({ id }))),
      sites: places.map((p) => ({ ...p, viewing: 'left-to-right' })),
      feeders: [trunk()],
    };
    await rig.deploy([
      { id: 'frame', type: 'phaseloom-frame', frameId: 'f' },
      { id: 'network', type: 'phaseloom-network', source: 'inline', document: JSON.stringify(network) },
      newLedger(),
      { id: 'board', type: 'phaseloom-board', ledger: 'ledger', network: 'network', frame: 'frame' },
      {
        id: 'n',
        type: 'phaseloom-feeder-trace',
        frame: 'frame',
        network: 'network',
        ledger: 'ledger',
        gatherS: 0.05,
        wires: [['p'], [], []],
      },
      rig.probe('p'),
    ]);
    const findings = [...read(3, 'ABC'), ...read(9, 'BAC')];
    const ledger = await ledgerOf(rig);
    await Promise.all(findings.map((f) => ledger.keep(f)));
    rig.send('n', { payload: findings });
    await rig.next('p');
  });
  after(() => browser?.close());

  it('lists places along the feeder, and leads to the entry at one', async () => {
    const context = await browser.newContext(PHONE);
    context.setDefaultTimeout(15_000);
    const page = await context.newPage();
    const faults: string[] = [];
    page.on('pageerror', (e) => faults.push(e.message));
    await page.goto(`http://127.0.0.1:${rig.port}/phaseloom/field.html`);
    await page.getByText('Where a reading tells most').click();
    const stops = page.getByRole('region', { name: 'Feeder F' }).getByRole('button');
    await stops.first().waitFor();
    const names = (await stops.allTextContents()).map((t) => t.match(/^\d+\. (pole \d+)/)?.[1]);
    // 3 and 9 were read; what is left comes in the order of the feeder.
    expect(names).to.deep.equal(['pole 6', 'pole 10', 'pole 12']);
    expect(await violations(page)).to.deep.equal([]);
    await stops.first().click();
    await page.getByRole('heading', { name: 'pole 6' }).waitFor();
    expect(faults).to.deep.equal([]);
    await context.close();
  });
});
