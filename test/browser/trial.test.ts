/** Readings tried in the dialogs, with settings and config nodes that were never deployed. The angles are those of an ideal star: 0, -120, 120. */
import { expect } from 'chai';
import { type Editor, type EditorChoice, openEditor } from '../kit/editor';

// biome-ignore lint/suspicious/noExplicitAny: the editor's own global, without published types
declare const RED: any;

const NETWORK = `id,site,position,recordedPhase
S118/1,S118,1,A
S118/2,S118,2,B
S118/3,S118,3,C
R17/1,R17,1,A
R17/2,R17,2,B
R17/3,R17,3,C

openPoint,left,right
S118-R17,S118/1,R17/1
S118-R17,S118/2,R17/2
S118-R17,S118/3,R17/3`;

const TERMINALS = ['S118/1', 'S118/2', 'S118/3', 'R17/1', 'R17/2', 'R17/3'];

const readings = (anglesDeg: readonly number[]): string =>
  anglesDeg
    .map((angleDeg, i) =>
      JSON.stringify({
        terminal: TERMINALS[i],
        takenAt: `2026-05-04T10:15:3${i}Z`,
        angleDeg,
        against: 'SUB-1',
        sigmaDeg: 1,
        voltageV: 7200,
        voltageIs: 'phase-to-earth',
        coupling: 'contact',
        clock: { source: 'gnss', errorUs: 1, locked: true },
        instrument: { id: 'P-07', selfTest: 'pass' },
      }),
    )
    .join('\n');

async function editorWithNodes(locale: EditorChoice['locale']): Promise<Editor> {
  const editor = await openEditor({ version: 'node-red', theme: 'light', locale });
  await editor.page.evaluate((document) => {
    const z = RED.workspaces.active();
    const node = (type: string, y: number) => ({
      id: type,
      type: `phaseloom-${type}`,
      frame: 'frame',
      network: 'network',
      x: 300,
      y,
      z,
      wires: [[]],
    });
    RED.nodes.import([
      { id: 'reference', type: 'phaseloom-reference', referenceId: 'SUB-1' },
      { id: 'frame', type: 'phaseloom-frame', frameId: 'local', reference: 'reference' },
      { id: 'network', type: 'phaseloom-network', source: 'inline', document },
      node('phase-id', 80),
      node('tie-check', 160),
      node('rotation', 240),
    ]);
    RED.view.redraw(true);
  }, NETWORK);
  return editor;
}

async function answered({ page }: Editor, text: string): Promise<string> {
  await page.locator('#phaseloom-trial-readings').fill(text);
  const came = page.waitForResponse((r) => r.url().includes('/phaseloom/trial/'));
  await page.locator('#phaseloom-trial').click();
  await came;
  await page.waitForFunction(() => document.querySelector('#phaseloom-trial-answer')?.textContent !== '');
  return (await page.locator('#phaseloom-trial-answer').textContent()) ?? '';
}

describe('readings tried in the editor', function () {
  this.timeout(120_000);
  let editor: Editor;
  const answer = (text: string) => answered(editor, text);

  before(async () => {
    editor = await editorWithNodes('en-US');
  });
  afterEach(() => editor.cancelAll());
  after(() => editor?.stop());

  it('phase id: which phase, figures and caution', async () => {
    await editor.openNode('phase-id');
    const said = await answer(readings([0, -118.4]).split('\n')[1]!);
    expect(said).to.match(/S118\/2: phase B/);
    expect(said).to.match(/angle -118\.4°; expected -120\.0°; off by 1\.6°/);
    expect(said).to.match(/not a test for absence of voltage/);
  });

  it('tie check: the same phase, and what is not', async () => {
    await editor.openNode('tie-check');
    expect(await answer(readings([0, -120, 120, 0, -120, 120]))).to.match(/S118-R17: same phase \(landed straight\)/);
    expect(await answer(readings([0, -120, 120, 120, 0, -120]))).to.match(
      /not the same phase \(rolled\)[\s\S]*S118\/1 faces R17\/1 and belongs with R17\/2/,
    );
    expect(await answer(readings([0, -120, 120]))).to.match(/S118-R17: nothing yet; not read: R17\/1, R17\/2, R17\/3/);
  });

  it('tie check: without known clocks no probability, and differences only as read', async () => {
    await editor.openNode('tie-check');
    const said = await answer(readings([0, -120, 120, 2, -118, 122]).replaceAll('"locked":true', '"locked":false'));
    expect(said).to.match(/S118-R17: not proven/);
    expect(said).to.match(/S118\/1 \/ R17\/1: -2\.0°, as read; may be wrong by anything/);
    expect(said).to.not.match(/probability|±|standing/);
  });

  it('tie check: with the tolerance as it stands in the dialog', async () => {
    const { page } = editor;
    const shifted = readings([0, -120, 120, 12, -108, 132]);
    await editor.openNode('tie-check');
    expect(await answer(shifted)).to.not.match(/S118-R17: same phase/);
    await page.locator('#node-input-toleranceDeg').fill('20');
    expect(await answer(shifted)).to.match(/S118-R17: same phase[\s\S]*tolerance 20\.0°/);
  });

  it('rotation: which way', async () => {
    await editor.openNode('rotation');
    expect(await answer(readings([0, -120, 120]))).to.match(/S118: clockwise, ABC/);
    expect(await answer(readings([0, 120, -120]))).to.match(/S118: counter-clockwise, ACB/);
  });

  it('what is wrong is told with where it is and what would be right', async () => {
    const { page } = editor;
    await editor.openNode('phase-id');
    expect(await answer('')).to.match(/no reading; expected a reading as JSON/);
    expect(await answer('{"terminal":')).to.match(/not JSON.*expected a reading/);
    expect(await answer('{"terminal":"S118/2","takenAt":"yesterday","angleDeg":1,"against":"utc"}')).to.match(
      /reading 1, \/takenAt: "yesterday".*RFC 3339/,
    );
    expect(
      await answer('[{"terminal":"S9/2","takenAt":"2026-05-04T10:15:30Z","angleDeg":1,"against":"utc"}]'),
    ).to.match(/reading 1, \/terminal: "S9\/2" is not in the network/);
    await page.locator('#node-input-combineS').fill('-1');
    expect(await answer(readings([0]))).to.match(/combineS is "-1"; it must be a number from 0 to 3600/);
    expect(editor.troubles).to.deep.equal([]);
  });

  it('what would settle it is told apart from why', async () => {
    await editor.openNode('phase-id');
    const alone = JSON.parse(readings([0]));
    const noClock = { ...alone, against: 'utc', clock: undefined };
    expect(await answer(JSON.stringify(noClock))).to.match(/not proven[\s\S]*\. To settle it: [^.]+\./);
  });

  it('an answer of a Node-RED in trouble is not taken for silence', async () => {
    const { page } = editor;
    await editor.openNode('phase-id');
    await page.route('**/phaseloom/trial/*', (route) => route.fulfill({ status: 500 }));
    expect(await answer(readings([0]))).to.match(/HTTP status 500/);
    await page.unroute('**/phaseloom/trial/*');
  });
});

describe('readings tried in the German editor', function () {
  this.timeout(120_000);
  let editor: Editor;

  before(async () => {
    editor = await editorWithNodes('de-DE');
  });
  after(() => editor?.stop());

  it('verdict and caution are in German', async () => {
    await editor.openNode('rotation');
    const said = await answered(editor, readings([0, -120, 120]));
    expect(said).to.match(/S118: rechtsdrehend, ABC/);
    expect(said).to.match(/Feststellen der Spannungsfreiheit/);
    expect(said).to.not.match(/absence of voltage/);
    expect(said).to.match(/S118\/2 -120,0°/);
    await editor.cancelAll();
  });

  it('figures have a comma, and reasons are in German, with what the record says below', async () => {
    await editor.openNode('phase-id');
    const alone = JSON.parse(readings([0, -118.4]).split('\n')[1]!);
    expect(await answered(editor, JSON.stringify(alone))).to.match(/Winkel -118,4°; erwartet -120,0°; Abweichung 1,6°/);
    const noClock = { ...alone, against: 'utc', clock: undefined };
    expect(await answered(editor, JSON.stringify(noClock))).to.match(
      /nicht erwiesen[\s\S]*Die Güte der Zeit ist nicht bekannt[\s\S]*Im Datensatz: the quality of its time is not known/,
    );
  });
});
