/** Readings published under a fault, and what of them stands in a ledger file, read with SQLite alone. */
import { existsSync } from 'node:fs';
import { DatabaseSync } from 'node:sqlite';
import { setTimeout as sleep } from 'node:timers/promises';
import { connectAsync } from 'mqtt';
import { formatInstant } from '../../lib/instant';
import type { FlowNode } from '../kit/node-red';

/** A reading that no other has: its terminal is its number. */
export const numbered = (prefix: string, i: number, atMs = Date.now()) => ({
  terminal: `${prefix}/${i}`,
  takenAt: formatInstant(atMs * 1000),
  angleDeg: (i % 360) - 180,
  against: 'utc',
});

export const brokerNode = (port: number): FlowNode => ({
  id: 'broker',
  type: 'mqtt-broker',
  broker: '127.0.0.1',
  port: String(port),
  protocolVersion: '5',
  keepalive: '60',
});

/** Publishes at QoS 1 and resolves when the broker has every one. */
export async function publishAll(
  port: number,
  topic: string,
  readings: readonly object[],
  perSecond: number,
): Promise<void> {
  const client = await connectAsync(`mqtt://127.0.0.1:${port}`, {
    clean: false,
    clientId: `feed-${topic.replaceAll('/', '-')}`,
  });
  const acknowledged: Promise<unknown>[] = [];
  for (const [i, reading] of readings.entries()) {
    acknowledged.push(client.publishAsync(topic, JSON.stringify(reading), { qos: 1 }));
    if (i % 20 === 19) await sleep(20_000 / perSecond);
  }
  await Promise.all(acknowledged);
  await client.endAsync();
}

export function inFile(file: string, prefix: string): { rows: number; distinct: number; terminals: string[] } {
  if (!existsSync(file)) return { rows: 0, distinct: 0, terminals: [] };
  const database = new DatabaseSync(file, { readOnly: true });
  try {
    // The file is there a moment before its tables are.
    if (!database.prepare("select 1 from sqlite_master where name = 'reading'").get())
      return { rows: 0, distinct: 0, terminals: [] };
    const found = database.prepare('select terminal from reading where terminal like ?').all(`${prefix}/%`);
    const terminals = (found as { terminal: string }[]).map((r) => r.terminal);
    return { rows: terminals.length, distinct: new Set(terminals).size, terminals };
  } finally {
    database.close();
  }
}
