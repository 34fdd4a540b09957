/** The node "feeder trace": findings in, what they say about a whole feeder out; a person's word on corrections in, its record out. */
import { resolve } from 'node:path';
import type { Node, NodeAPI } from 'node-red';
import type { CimPlaces } from '../../lib/feeder/io/cim';
import type { Feeder } from '../../lib/feeder/model';
import { unfedText } from '../../lib/feeder/unfed';
import { formatInstant } from '../../lib/instant';
import type { Finding, Kind } from '../../lib/records';
import { problemsOf } from '../../lib/validate';
import { type NumberSetting, numberOr, oneOf } from '../kit/config-values';
import { type Evidence, type EvidenceDef, evidenceOf, startOrRefuse } from '../kit/evidence';
import type { StatusLight } from '../kit/status';
import { shortCount } from '../kit/tally';
import { asError, Trouble } from '../kit/trouble';
import { isDecision, readDecision } from './decision';
import { readDownload } from './download';
import { FeederDesk } from './feeder-desk';
import { feederFromFile } from './feeder-file';
import { isMeters } from './meters';
import { type FeederWindow, windowOf } from './window';

interface FeederTraceDef extends EvidenceDef {
  feederFrom: string;
  feeder: string;
  file: string;
  sourceNode: string;
  gatherS: NumberSetting;
}

const KINDS: readonly Kind[] = ['identification', 'comparison', 'rotation', 'correction'];

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-feeder-trace', function (this: Node, def: FeederTraceDef) {
    RED.nodes.createNode(this, def);
    startOrRefuse(RED, this, (light) => {
      const evidence = evidenceOf(RED, def);
      run(RED, this, light, evidence, {
        ...feedersOf(RED, def, evidence),
        gatherMs: 1000 * numberOr(1, 'gatherS', def.gatherS, { least: 0, most: 3600 }),
      });
    });
  });
};

interface Fed {
  readonly feeders: readonly Feeder[];
  readonly places: CimPlaces | undefined;
}

function feedersOf(RED: NodeAPI, def: FeederTraceDef, { frame, network }: Evidence): Fed {
  const wanted = (def.feeder ?? '').trim();
  if (oneOf('feederFrom', def.feederFrom, ['network', 'file']) === 'file') {
    const file = (def.file ?? '').trim();
    if (file === '') throw new Trouble('config', 'no file is named; give a .json, .csv, .geojson or .xml (CIM) file');
    const source = (def.sourceNode ?? '').trim();
    const path = resolve(RED.settings.userDir ?? process.cwd(), file);
    const { feeder, places } = feederFromFile({
      path,
      phases: frame.phases,
      ...(wanted ? { id: wanted } : {}),
      ...(source ? { source } : {}),
    });
    return { feeders: [feeder], places };
  }
  const feeders = [...(network?.feeders.values() ?? [])].filter((f) => wanted === '' || f.id === wanted);
  if (feeders.length > 0) return { feeders, places: undefined };
  const known = [...(network?.feeders.keys() ?? [])].join(', ') || 'none';
  const what = wanted === '' ? 'the network has no feeders' : `the network has no feeder ${wanted}`;
  throw new Trouble('config', `${what} (known: ${known}); give it a member feeders, or name a file`);
}

function run(
  RED: NodeAPI,
  node: Node,
  light: StatusLight,
  { frame, network, ledger }: Evidence,
  { feeders, places, gatherMs }: Fed & { readonly gatherMs: number },
): void {
  light.show('grey', 'ring', RED._(`${node.type}.status.waiting`));
  for (const feeder of feeders) if (feeder.unfed.length > 0) node.warn(unfedText(feeder));
  const desk = new FeederDesk({
    id: node.id,
    feeders,
    places,
    frame,
    network,
    ledger,
    gatherMs,
    traced: (trace) => {
      node.send([{ payload: trace }, null, null] as never);
      const labels = shortCount(trace.corrections.flatMap((c) => c.labels).length);
      const conflicts = shortCount(trace.conflicts.length);
      light.show(trace.conflicts.length > 0 ? 'yellow' : 'green', 'dot', () =>
        RED._(`${node.type}.status.counts`, { labels, conflicts }),
      );
    },
    failed: (cause) => node.error(asError(cause)),
  });
  (node as Node & { window: FeederWindow }).window = windowOf(
    desk,
    { feeders, isCim: places !== undefined },
    (corrections) => {
      for (const payload of corrections) node.send([null, { payload }, null] as never);
    },
  );
  node.on('input', (msg, send, done) => {
    const { payload } = msg;
    if (isMeters(payload)) {
      const feeder = payload.feeder === undefined ? undefined : String(payload.feeder);
      desk.takeMeters(feeder, payload).then(
        () => done(),
        (cause) => done(asError(cause)),
      );
      return;
    }
    if (!isDecision(payload)) {
      done(takeAll(desk, payload));
      return;
    }
    const now = formatInstant(Date.now() * 1000);
    const answered =
      payload.action === 'download'
        ? fetched(desk, payload).then((file) => send([null, null, { ...msg, ...file }] as never))
        : decided(desk, payload, now).then((made) => send([null, { ...msg, payload: made }, null] as never));
    answered.then(
      () => done(),
      (cause) => done(asError(cause)),
    );
  });
  node.on('close', () => {
    desk.close();
    light.close();
  });
}

type Request = Readonly<Record<string, unknown>>;

async function decided(desk: FeederDesk, payload: Request, at: string) {
  const { feeder, decision } = readDecision(payload);
  const [made] = await desk.decide(feeder, [decision], at);
  return made;
}

const fetched = async (desk: FeederDesk, payload: Request) =>
  desk.download(payload.feeder === undefined ? undefined : String(payload.feeder), readDownload(payload));

/** Takes a record or a batch; what cannot be taken is told once, and the others are taken. */
function takeAll(desk: FeederDesk, payload: unknown): Error | undefined {
  const records = Array.isArray(payload) ? payload : [payload];
  const troubles = records.flatMap((record, i) => {
    const trouble = troubleOf(record);
    if (!trouble) desk.take(record as Finding);
    return trouble ? [{ trouble, i }] : [];
  });
  if (troubles.length === 0) return undefined;
  if (!Array.isArray(payload)) return troubles[0]!.trouble;
  const told = troubles.slice(0, 5).map(({ trouble, i }) => `[${i}] ${trouble.message}`);
  return new Trouble('batch-in-part', `${troubles.length} of ${records.length} records: ${told.join('; ')}`);
}

function troubleOf(record: unknown): Trouble | undefined {
  const kind = (record as { kind?: unknown } | null | undefined)?.kind as Kind;
  if (!KINDS.includes(kind)) {
    return new Trouble(
      'kind-unexpected',
      `msg.payload.kind is ${JSON.stringify(kind) ?? 'missing'}; this node takes ${KINDS.join(', ')}, or an action`,
    );
  }
  const [problem] = problemsOf(kind, record);
  if (!problem) return undefined;
  return new Trouble(
    'record-invalid',
    `msg.payload${problem.at} of a ${kind}: ${problem.what}; right would be ${problem.expected}`,
  );
}
