/** What it costs to make a reading of a parsed JSON message: check, copy, instant, id. */
import { createHash } from 'node:crypto';
import { canonicalJson, digest } from '../../lib/derived-id';
import { parseReading } from '../../lib/reading';
import { problemsOf } from '../../lib/validate';
import { report } from './report';

const ROUNDS = 200;
const MESSAGES = 500;

const messages = Array.from({ length: MESSAGES }, (_, i) => ({
  kind: 'reading',
  terminal: `hollin-bank/F3/S118/${i % 9}`,
  takenAt: '2026-05-04T10:15:30.250000Z',
  angleDeg: -118.4 + i * 1e-3,
  against: 'utc',
  sigmaDeg: 1.5,
  voltageV: 14390,
  voltageIs: 'phase-to-earth',
  frequencyHz: 59.983,
  clock: { source: 'gnss', errorUs: 1.2, locked: true },
  coupling: 'contact',
  instrument: { id: 'P-07', selfTest: 'pass', batteryPct: 82, calibratedOn: '2026-01-10' },
  by: 'crew 4',
  position: { lat: 45.61, lon: -111.08 },
}));
const texts = messages.map((m) => JSON.stringify(m));
const wrong = messages.map((m) => ({ ...m, clock: { source: 'pigeon' }, angleDeg: 4000 }));

/** Microseconds a call: the best and the middle of many short rounds, so that other work on the machine weighs little. */
function cost<T>(items: readonly T[], work: (item: T) => unknown): { best: number; middle: number } {
  const rounds = Array.from({ length: ROUNDS }, () => {
    const start = performance.now();
    for (const item of items) work(item);
    return ((performance.now() - start) * 1000) / items.length;
  }).sort((a, b) => a - b);
  return { best: rounds[0]!, middle: rounds[ROUNDS / 2]! };
}

const peer = cost(texts, (t) => JSON.parse(t));
const row = <T>(what: string, items: readonly T[], work: (item: T) => unknown, aim?: string) => {
  const { best, middle } = cost(items, work);
  return {
    what: `${what} (middle of the rounds ${middle.toPrecision(3)})`,
    value: best,
    unit: 'us',
    peer: { what: 'JSON.parse of the message, us', value: peer.best },
    ratio: best / peer.best,
    ...(aim ? { aim } : {}),
  };
};

report('reading', [
  row('parseReading', messages, (m) => parseReading(m), 'about 12 us or less on an idle machine'),
  row('schema check alone', messages, (m) => problemsOf('reading', m)),
  row('canonical JSON alone', messages, (m) => canonicalJson(m)),
  row('id of the canonical JSON alone', texts, (t) => digest(t)),
  row("the same by Node's native hash", texts, (t) => createHash('sha256').update(t).digest('hex')),
  row('parseReading of a wrong message, with its words', wrong, (m) => parseReading(m)),
]);
