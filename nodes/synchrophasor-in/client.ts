/** The client of one stream: asks for the configuration, starts the data, follows changes, and connects again when the line is lost. */
import type { Problem } from '../../lib/records';
import {
  COMMANDS,
  type ConfigFrame,
  ConfigParts,
  type Cut,
  type DataFrame,
  decodeFrame,
  encodeFrame,
  frameTime,
  type HeaderFrame,
  readStatus,
  Thinning,
} from '../../lib/synchrophasor';
import { Backoff } from '../kit/backoff';
import { Link, type LinkListener } from './link';
import type { Settings } from './settings';

export type Command = keyof typeof COMMANDS;
export type ClientState = 'connecting' | 'no-configuration' | 'configured' | 'running' | 'waiting' | 'ended';

export interface ClientListener {
  configured(config: ConfigFrame): void;
  data(frame: DataFrame, config: ConfigFrame, bytes: Uint8Array): void;
  header(frame: HeaderFrame): void;
  refused(problem: Problem, bytes: Uint8Array): void;
  changed(): void;
}

const ASK_AGAIN_MS = 3000;
const TIME_BASE = 1_000_000;
/** A configuration said to have changed is asked for this often at most. */
const FOLLOW_US = 5e6;
/** Refusals after which the configuration is asked for. */
const STALE = new Set(['data-not-of-configuration', 'stream-unknown', 'config-parts-disordered']);
const OUT_OF_DATE: Problem = {
  at: '/stat',
  code: 'configuration-changed',
  what: 'the configuration has changed, and the new one has not come yet: which value is which channel is not known',
  expected: 'the configuration, which was asked for',
};

export class Client implements LinkListener {
  state: ClientState = 'connecting';
  lastError = '';
  readonly facts = { connects: 0, frames: 0, refused: 0, configurations: 0 };
  private link: Link | undefined;
  private config: ConfigFrame | undefined;
  private parts = new ConfigParts();
  private readonly backoff = new Backoff();
  private readonly follow = new Thinning(FOLLOW_US);
  private retry: NodeJS.Timeout | undefined;
  private asking: NodeJS.Timeout | undefined;
  private silence: NodeJS.Timeout | undefined;
  private upAtMs: number | undefined;
  private wanted: 'config-2' | 'config-3';
  /** places of the PMUs whose last data announced a change of the configuration */
  private announced: ReadonlySet<number> = new Set();
  /** a change took effect, and the configuration that says which has not come */
  private isOutOfDate = false;

  constructor(
    private readonly settings: Settings,
    private readonly listener: ClientListener,
  ) {
    this.wanted = settings.configuration;
  }

  start(): void {
    this.to('connecting');
    this.watch();
    this.link = new Link(this.settings, this);
  }

  get localPort(): number | undefined {
    return this.link?.localPort;
  }

  command(command: Command): void {
    const time = frameTime(Date.now() * 1000, TIME_BASE);
    // Senders of the 2005 edition know no other version, and no CFG-3.
    const version = this.wanted === 'config-3' ? 2 : 1;
    const head = { type: 'command' as const, version, idCode: this.settings.idCode, time };
    this.link?.send(encodeFrame({ ...head, command: COMMANDS[command], extended: new Uint8Array(0) }));
  }

  /** Asks the sender to stop and ends. */
  close(): void {
    this.command('data-off');
    this.to('ended');
    this.quiet();
    this.link?.close();
    this.link = undefined;
  }

  up(): void {
    this.facts.connects++;
    this.upAtMs = Date.now();
    this.lastError = '';
    this.to('no-configuration');
    this.watch();
    this.wanted = this.settings.configuration;
    this.command('data-off');
    this.ask();
  }

  came(cut: Cut): void {
    this.watch();
    if ('problem' in cut) this.refuse(cut.problem, cut.bytes);
    else this.take(cut.frame);
  }

  down(why: string): void {
    if (this.state === 'ended') return;
    this.quiet();
    this.link = undefined;
    this.config = undefined;
    this.parts = new ConfigParts();
    this.announced = new Set();
    this.isOutOfDate = false;
    this.lastError = why;
    this.to('waiting');
    const lastedMs = this.upAtMs === undefined ? 0 : Date.now() - this.upAtMs;
    this.upAtMs = undefined;
    this.retry = setTimeout(() => this.start(), this.backoff.next(lastedMs));
  }

  private take(bytes: Uint8Array): void {
    const part = this.parts.take(bytes);
    if (part.is === 'part') return;
    if (part.is === 'wrong') this.refuse(part.problem, bytes);
    else if (part.is === 'whole') this.configure(part.frame, bytes);
    else this.takeWhole(bytes);
  }

  private takeWhole(bytes: Uint8Array): void {
    const decoded = decodeFrame(bytes, this.config);
    if (!decoded.ok) {
      this.refuse(decoded.problem, bytes);
      return;
    }
    const { frame } = decoded;
    this.facts.frames++;
    if (frame.type === 'data') this.takeData(frame, bytes);
    else if (frame.type === 'config-2' || frame.type === 'config-3') this.configure(frame, bytes);
    else if (frame.type === 'header') this.listener.header(frame);
  }

  private takeData(frame: DataFrame, bytes: Uint8Array): void {
    if (this.state !== 'running') this.to('running');
    this.followChange(frame);
    if (this.isOutOfDate) this.refuse(OUT_OF_DATE, bytes);
    else this.listener.data(frame, this.config!, bytes);
  }

  /** A change is announced while the bit is set and in force when it clears: what was answered before may be the old one. */
  private followChange({ pmus }: DataFrame): void {
    const before = this.announced;
    const now = new Set(pmus.flatMap(({ stat }, i) => (readStatus(stat).configChange ? [i] : [])));
    this.announced = now;
    if ([...before].some((i) => !now.has(i))) {
      this.isOutOfDate = true;
      this.ask();
    } else if (now.size > 0 && this.follow.passes('change', Date.now() * 1000)) this.command(commandFor(this.wanted));
  }

  private configure(config: ConfigFrame, bytes: Uint8Array): void {
    const { idCode } = this.settings;
    if (config.idCode !== idCode) {
      const what = `the configuration is of stream ${config.idCode}`;
      this.refuse(
        { at: '/idCode', code: 'stream-unknown', what, expected: `${idCode}, the IDCODE that is set` },
        bytes,
      );
      return;
    }
    const isFirst = this.config === undefined;
    clearInterval(this.asking);
    this.config = config;
    this.isOutOfDate = false;
    this.facts.configurations++;
    this.listener.configured(config);
    if (!isFirst) return;
    this.to('configured');
    this.command('data-on');
  }

  /** A frame that does not fit the configuration is a sign that the configuration is another by now. */
  private refuse(problem: Problem, bytes: Uint8Array): void {
    this.facts.refused++;
    if (problem.code === 'configuration-missing' && this.state === 'no-configuration') return;
    this.listener.refused(problem, bytes);
    if (STALE.has(problem.code) && this.follow.passes('stale', Date.now() * 1000))
      this.command(commandFor(this.wanted));
  }

  /** Asks for the configuration until it comes, the second time for the other kind: not every sender knows both. */
  private ask(): void {
    clearInterval(this.asking);
    this.command(commandFor(this.wanted));
    this.asking = setInterval(() => {
      this.wanted = this.wanted === 'config-2' ? 'config-3' : 'config-2';
      this.command(commandFor(this.wanted));
    }, ASK_AGAIN_MS);
  }

  /** A line on which nothing comes is as good as lost. */
  private watch(): void {
    if (this.silence) {
      this.silence.refresh();
      return;
    }
    this.silence = setTimeout(() => {
      this.link?.close();
      this.down('nothing came');
    }, 1000 * this.settings.silenceS);
  }

  private quiet(): void {
    clearTimeout(this.retry);
    clearInterval(this.asking);
    clearTimeout(this.silence);
    this.silence = undefined;
  }

  private to(state: ClientState): void {
    this.state = state;
    this.listener.changed();
  }
}

const commandFor = (wanted: 'config-2' | 'config-3'): Command => `send-${wanted}`;
