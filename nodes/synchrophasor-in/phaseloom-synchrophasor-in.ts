/** The node "synchrophasor in": a stream of IEEE C37.118.2 in, readings out. */
import type { Node, NodeAPI, NodeMessage } from 'node-red';
import { parseReading } from '../../lib/reading';
import type { Problem, Reading } from '../../lib/records';
import {
  type Binding,
  bindChannels,
  COMMANDS,
  type ConfigFrame,
  type DataFrame,
  instantUs,
  readingsOf,
  refusedFrame,
  Thinning,
} from '../../lib/synchrophasor';
import { startOrRefuse } from '../kit/evidence';
import type { StatusLight } from '../kit/status';
import { shortCount } from '../kit/tally';
import { Trouble } from '../kit/trouble';
import { showVitalSigns } from '../kit/vital-signs';
import { Client, type Command } from './client';
import { readSettings, type Settings, type SynchrophasorInDef } from './settings';

/** Rejections of one kind and terminal are sent this often at most: a stream that is wrong is wrong fifty times a second. */
const REJECTION_EVERY_US = 10e6;

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-synchrophasor-in', function (this: Node, def: SynchrophasorInDef) {
    RED.nodes.createNode(this, def);
    startOrRefuse(RED, this, (light) => {
      new StreamNode(RED, this, light, readSettings(def)).run();
    });
  });
};

class StreamNode {
  private readonly client: Client;
  private binding: Binding = { channels: [], problems: [] };
  private readonly thinning: Thinning;
  private readonly seldom = new Thinning(REJECTION_EVERY_US);
  private readonly source: string;
  private readings = 0;
  private rejections = 0;
  private lastTold = '';
  /** why the last frame or value was refused, until one is read again */
  private refused: string | undefined;

  constructor(
    private readonly RED: NodeAPI,
    private readonly node: Node,
    private readonly light: StatusLight,
    private readonly settings: Settings,
  ) {
    const { transport, host, port, localPort, idCode, everyS } = settings;
    this.source = `synchrophasor ${idCode} ${transport}://${host === '' ? `:${localPort}` : `${host}:${port}`}`;
    this.thinning = new Thinning(everyS * 1e6);
    this.client = new Client(settings, {
      configured: (config) => this.configured(config),
      data: (frame, config, bytes) => this.data(frame, config, bytes),
      header: ({ text }) => this.emit(2, { payload: { header: text }, topic: this.source }),
      refused: (problem, bytes) => this.refuse(problem, bytes),
      changed: () => this.show(),
    });
  }

  run(): void {
    const counters = () => ({ ...this.client.facts, readings: this.readings, rejections: this.rejections });
    Object.assign(this.node, { counters });
    showVitalSigns(this.node, { counters, trouble: () => this.trouble() });
    this.client.start();
    this.node.on('input', (msg, _send, done) => {
      try {
        this.client.command(commandOf(msg.payload));
        done();
      } catch (cause) {
        done(cause as Error);
      }
    });
    this.node.on('close', () => {
      this.client.close();
      this.light.close();
    });
  }

  /** Why no readings come out at the moment. */
  private trouble(): string | undefined {
    const { state, lastError } = this.client;
    if (state !== 'running') return `no data from the PMU (${lastError || state})`;
    const missing = this.binding.problems[0];
    return missing && `${missing.what}; right would be ${missing.expected}`;
  }

  private configured(config: ConfigFrame): void {
    this.binding = bindChannels(config, this.settings.channels);
    const told = this.binding.problems.map((p) => `${p.what}; right would be ${p.expected}`).join('. ');
    if (told !== '' && told !== this.lastTold) this.node.error(told);
    this.lastTold = told;
    this.emit(2, { payload: config, topic: this.source });
    this.show();
  }

  private data(frame: DataFrame, config: ConfigFrame, bytes: Uint8Array): void {
    const us = instantUs(frame.time, config.timeBase);
    // Each by its own time: in the stream of a concentrator a slower PMU has values in some frames only.
    const due = this.binding.channels.filter(({ row }) => this.thinning.isDue(row.terminal, us));
    if (due.length === 0) return;
    const { timeSource, lockedErrorUs } = this.settings;
    const rule = { ...(timeSource ? { source: timeSource } : {}), ...(lockedErrorUs ? { lockedErrorUs } : {}) };
    const { readings, refused } = readingsOf(config, frame, due, rule);
    for (const value of readings) {
      this.thinning.passes(String(value.terminal), us);
      this.reading(value, bytes);
    }
    for (const { terminal, problem } of refused) this.refuse(problem, bytes, terminal);
    this.show();
  }

  private reading(value: Readonly<Record<string, unknown>>, bytes: Uint8Array): void {
    const parsed = parseReading(value, { receivedAtUs: Date.now() * 1000 });
    if (!parsed.ok) {
      this.refuse(parsed.problems[0]!, bytes, String(value.terminal));
      return;
    }
    this.readings++;
    this.refused = undefined;
    this.emit(0, { payload: parsed.reading, reading: parsed.reading, topic: this.source });
  }

  private refuse(problem: Problem, bytes: Uint8Array, terminal: string | null = null): void {
    const nowUs = Date.now() * 1000;
    this.refused = problem.code;
    if (!this.seldom.passes(`${problem.code} ${terminal}`, nowUs)) return;
    this.rejections++;
    this.emit(1, { payload: refusedFrame(this.source, bytes, nowUs, problem, terminal), topic: this.source });
    this.show();
  }

  private emit(port: 0 | 1 | 2, msg: NodeMessage & { reading?: Reading }): void {
    const ports: (NodeMessage | null)[] = [null, null, null];
    ports[port] = msg;
    this.node.send(ports);
  }

  private why(code: string): string {
    return this.RED._(`phaseloom-synchrophasor-in.refusal.${SHORT.has(code) ? code : 'other'}`);
  }

  private show(): void {
    const say = (text: string, values?: Record<string, string>) =>
      this.RED._(`phaseloom-synchrophasor-in.status.${text}`, values as never);
    const missing = this.binding.problems.length;
    if (this.client.state === 'connecting') this.light.show('yellow', 'ring', say('connecting'));
    else if (this.client.state === 'waiting') this.light.show('red', 'ring', say('disconnected'));
    else if (this.client.state === 'no-configuration') this.light.show('yellow', 'ring', say('no-configuration'));
    else if (missing > 0) this.light.show('yellow', 'dot', say('missing', { channels: String(missing) }));
    else if (this.client.state === 'configured') this.light.show('yellow', 'ring', say('no-data'));
    else if (this.refused !== undefined)
      this.light.show('yellow', 'dot', say('refused', { why: this.why(this.refused) }));
    else this.light.show('green', 'dot', () => say('readings', { count: shortCount(this.readings) }));
  }
}

/** Refusals that have a short text of their own in the catalogue. */
const SHORT = new Set([
  'bytes-between-frames',
  'crc-wrong',
  'data-not-of-configuration',
  'configuration-changed',
  'stream-unknown',
  'values-not-usable',
  'value-absent',
  'magnitude-zero',
  'config-parts-disordered',
  'fraction-beyond-second',
]);

/** @throws Trouble when the payload is no command of the standard */
function commandOf(payload: unknown): Command {
  if (typeof payload === 'string' && Object.hasOwn(COMMANDS, payload) && payload !== 'extended')
    return payload as Command;
  const known = Object.keys(COMMANDS).filter((c) => c !== 'extended');
  throw new Trouble(
    'command-unknown',
    `msg.payload is ${JSON.stringify(payload)}; it must be one of ${known.join(', ')}`,
  );
}
