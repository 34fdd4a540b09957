/**
 * The doors through which strangers' data comes, each with what must hold whatever comes: an answer in our words, never an exception,
 * and nothing let in that breaks the published schema.
 */
import { isDeepStrictEqual } from 'node:util';
import { readNetwork } from '../../lib/network-document';
import { parseReading } from '../../lib/reading';
import { httpTarget } from '../../nodes/handoff/http-target';
import { Trouble } from '../../nodes/kit/trouble';
import { readPageKey } from '../../nodes/ledger/page-key';
import { readQuestion, WHATS } from '../../nodes/ledger/question';
import { SqliteLedger } from '../../nodes/ledger/sqlite/sqlite-ledger';
import type { Taken } from '../../nodes/readings-in/arrival';
import { take, takeValue } from '../../nodes/readings-in/intake';
import { type Mapping, makeMapping } from '../../nodes/readings-in/mapping';
import { feederDoors } from './fuzz-feeders';
import type { Hostile } from './fuzz-input';
import { signalDoors } from './fuzz-signals';
import { arrival, asBytes, type DoorCase, demand, RECEIVED_AT_US, RULES, soundParse, soundTaken } from './fuzz-sound';

const SOUND = {
  terminal: 'hollin-bank/F3/S118/1',
  takenAt: '2026-05-04T10:15:30.250000Z',
  angleDeg: -118.4,
  against: 'utc',
  sigmaDeg: 1,
  voltageV: 7210.5,
  voltageIs: 'phase-to-neutral',
  frequencyHz: 59.98,
  clock: { source: 'gnss', errorUs: 1, locked: true },
  instrument: { id: 'P-01', selfTest: 'pass', batteryPct: 80, sequence: 7 },
  position: { lat: 53.4, lon: -2.2 },
  by: 'crew 7',
};
const SOUND_TEXTS = [JSON.stringify(SOUND), JSON.stringify([SOUND, { ...SOUND, terminal: 'x/2' }])];

export interface Doors {
  readonly cases: Readonly<Record<string, DoorCase>>;
  close(): Promise<void>;
}

export async function openDoors(): Promise<Doors> {
  const ledger = new SqliteLedger({ file: ':memory:', durability: 'normal' });
  await ledger.open();
  const mappings = MAPPINGS.map(mappingOf);
  const cases: Record<string, DoorCase> = {
    'payload, damaged': (h) => soundTaken(take(arrival(h.bytes(h.pick(SOUND_TEXTS))), RULES)),
    'payload, almost right': (h) => soundTaken(take(arrival(asBytes(h.almost(SOUND))), RULES)),
    'value of a mapping': (h) =>
      soundTaken(takeValue(arrival(Buffer.from('x')), h.below(2) ? h.almost(SOUND) : h.value(), RULES)),
    mapping: async (h) => soundTaken(await h.pick(mappings)(arrival(h.bytes(h.pick(SOUND_TEXTS))), RULES)),
    'reading, as a library': (h) =>
      soundParse(parseReading(h.below(2) ? h.almost(SOUND) : h.value(), { receivedAtUs: RECEIVED_AT_US })),
    'network file': (h) => soundNetwork(h.damaged(h.pick(NETWORKS)), h.below(3) === 0 ? h.damaged(POINTS) : undefined),
    'ledger query': (h) => soundQuestion(h),
    'page key': (h) => soundPageKey(h),
    ledger: async (h) => soundStored(ledger, take(arrival(asBytes(h.almost(SOUND))), RULES)),
    'address of a webhook': (h) => soundAddress(h.damaged(h.pick(ADDRESSES))),
    ...feederDoors(),
    ...signalDoors(),
  };
  return { cases, close: () => ledger.close() };
}

function soundNetwork(text: string, openPoints: string | undefined): void {
  const found = readNetwork({ text, ...(openPoints === undefined ? {} : { openPoints }) });
  if (!found.ok) {
    demand(found.problems.length > 0 && found.problems.every((p) => p !== ''), 'refused without a reason');
    return;
  }
  for (const [id, terminal] of found.network.terminals)
    demand(id === terminal.id, 'a terminal stands under another name');
  for (const point of found.network.openPoints.values()) demand(point.id !== '', 'an open point without a name');
}

function soundQuestion(h: Hostile): void {
  const asked = h.below(2)
    ? h.value()
    : { [h.pick(['from', 'to', 'limit', 'kinds', 'subject', 'order', 'ids', 'after'])]: h.value() };
  try {
    const { limit, query } = readQuestion(h.pick(WHATS), asked, 100);
    demand(Number.isInteger(limit) && limit > 0, 'a limit that is none');
    for (const us of [query.fromUs, query.toUs])
      demand(us === undefined || Number.isSafeInteger(us), 'an instant that is none');
  } catch (cause) {
    inOurWords(cause, 'query-unusable');
  }
}

function soundPageKey(h: Hostile): void {
  try {
    const sound = '1777900000000000.0.1';
    const text = h.below(2) ? h.damaged(base64(sound)) : base64(h.damaged(sound));
    const key: object = readPageKey(text);
    demand(
      Object.values(key).every((n) => Number.isSafeInteger(n)),
      'a place that is none',
    );
  } catch (cause) {
    inOurWords(cause, 'query-unusable');
  }
}

const base64 = (text: string) => Buffer.from(text).toString('base64url');

function soundAddress(url: string): void {
  try {
    void httpTarget({ url, source: 's', timeoutMs: 1, allowHosts: ['example.org'] }).close();
    demand(new URL(url).hostname === 'example.org', `${url} passes the list of allowed hosts`);
  } catch (cause) {
    inOurWords(cause, 'config');
  }
}

/** What is stored comes back as it was. */
async function soundStored(ledger: SqliteLedger, taken: Taken): Promise<void> {
  soundTaken(taken);
  const { readings, texts, rejection } = taken;
  const admitted = readings.map((reading, i) => ({
    reading,
    body: texts[i]!,
    source: 'fuzz',
    receivedAtUs: RECEIVED_AT_US,
  }));
  await ledger.admit(admitted, rejection ? [rejection] : []);
  const ids = [...readings, ...(rejection ? [rejection] : [])].map((r) => r.id);
  if (ids.length === 0) return;
  const { records } = await ledger.records({ kinds: ['reading', 'rejection'], ids });
  demand(new Set(records.map((r) => r.id)).size === new Set(ids).size, 'what was stored is not found');
  for (const reading of readings) {
    const back = records.find((r) => r.id === reading.id);
    // The order of members is no part of a reading: the first of two that say the same is kept.
    demand(isDeepStrictEqual(back, JSON.parse(JSON.stringify(reading))), 'what was stored comes back changed');
  }
}

function inOurWords(cause: unknown, code: string): void {
  if (cause instanceof Trouble && cause.code === code) return;
  throw cause;
}

const ADDRESSES = [
  'https://example.org/events',
  'http://example.org:8080/a?b=c',
  'https://example.org.evil.test/',
  'https://user@example.org/',
];

const MAPPINGS = [
  '{"terminal": payload.terminal, "takenAt": payload.takenAt, "angleDeg": payload.angleDeg, "against": payload.against}',
  'payload.{"terminal": terminal, "takenAt": takenAt, "angleDeg": $number(angleDeg), "against": "utc"}',
  '$map(payload, function($r) { $merge([$r, {"by": $topic}]) })',
];

function mappingOf(expression: string): Mapping {
  const { util } = require('@node-red/util');
  const node = { id: 'n', context: () => ({ flow: {}, global: {} }) };
  return makeMapping({ util } as never, node as never, expression);
}

const NETWORKS = [
  'terminal;site;position;recordedPhase;connection;nominalV;path\nx/1;x;1;A;phase-neutral;7200;\nx/2;x;2;B;phase-neutral;7200;\n',
  'terminal,site,recordedPhase,nominalV\nx/1,x,A,7200\nx/2,x,B,7200\nx/3,x,C,"7,200"\n',
  JSON.stringify({
    id: 'n',
    terminals: [
      { id: 'x/1', site: 'x', recordedPhase: 'A', connection: 'phase-neutral', nominalV: 7200, path: [] },
      { id: 'x/2', site: 'x', recordedPhase: 'B' },
      { id: 'y/1', site: 'y' },
      { id: 'y/2', site: 'y' },
    ],
    sites: [{ id: 'x', terminals: ['x/1', 'x/2'], viewing: 'left-to-right' }],
    openPoints: [{ id: 'p', a: ['x/1', 'x/2'], b: ['y/1', 'y/2'] }],
  }),
];
const POINTS = 'openPoint,pair,a,b\np,1,x/1,y/1\np,2,x/2,y/2\n';
