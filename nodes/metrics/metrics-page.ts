/** The vital signs as a page in the text format that Prometheus reads (exposition format 0.0.4), written by the optional package prom-client. */
import { Trouble } from '../kit/trouble';
import type { Watched } from '../kit/vital-signs';
import { HELP } from './help-texts';

export interface Page {
  readonly contentType: string;
  readonly text: string;
}

type Prom = typeof import('prom-client');
type Labels = 'type' | 'node' | 'name';

interface Value {
  readonly labels: Readonly<Record<Labels, string>>;
  readonly value: number;
}
type Families = Map<string, { readonly kind: 'Counter' | 'Gauge'; readonly values: Value[] }>;

export async function metricsPage(watched: readonly Watched[], prom = loadProm()): Promise<Page> {
  const families: Families = new Map();
  for (const one of watched) {
    gather(families, one, 'Counter', one.counters?.() ?? {});
    gather(families, one, 'Gauge', await gaugesOf(one));
  }
  const registry = new prom.Registry();
  for (const [name, { kind, values }] of families) {
    const options = {
      name,
      help: HELP[name] ?? name,
      labelNames: ['type', 'node', 'name'] as const,
      registers: [registry],
    };
    const metric = kind === 'Counter' ? new prom.Counter<Labels>(options) : new prom.Gauge<Labels>(options);
    for (const { labels, value } of values) metric.inc(labels, value);
  }
  return { contentType: registry.contentType, text: await registry.metrics() };
}

async function gaugesOf(one: Watched): Promise<Readonly<Record<string, number>>> {
  const up = one.trouble ? { up: (await one.trouble()) === undefined ? 1 : 0 } : {};
  return { ...(await one.gauges?.()), ...up };
}

function gather(
  families: Families,
  { id, type, name }: Watched,
  kind: 'Counter' | 'Gauge',
  signs: Readonly<Record<string, number>>,
): void {
  for (const [sign, value] of Object.entries(signs)) {
    if (!Number.isFinite(value)) continue;
    const family = metricName(type, sign, kind);
    const entry = families.get(family) ?? { kind, values: [] };
    families.set(family, entry);
    entry.values.push({ labels: { type, node: id, name }, value });
  }
}

/** phaseloom-readings-in, sessionsLost: phaseloom_readings_in_sessions_lost_total */
export function metricName(type: string, sign: string, kind: 'Counter' | 'Gauge'): string {
  const snake = sign.replace(/[A-Z]/g, (letter) => `_${letter.toLowerCase()}`);
  return `${type.replaceAll('-', '_')}_${snake}${kind === 'Counter' ? '_total' : ''}`;
}

export function loadProm(load: (name: string) => unknown = require): Prom {
  try {
    return load('prom-client') as Prom;
  } catch {
    throw new Trouble(
      'metrics-missing',
      'the metrics page needs the package prom-client, which is not installed: run npm install prom-client in the Node-RED user directory and restart; health and readiness work without it',
    );
  }
}
