/** The session the broker keeps for us, over as many connections as it takes. */
import type { IClientOptions, IConnackPacket } from 'mqtt';
import { Backoff } from '../kit/backoff';
import { Trouble } from '../kit/trouble';
import { Connection, type ConnectionListener, type Held, type Message } from './connection';
import { endSession3 } from './ending-session';
import type { RememberedSession, SessionStore } from './identity';
import { Rivals } from './rivals';
import { subscribe } from './subscribing';
import { Warnings } from './warnings';

export type SessionState = 'idle' | 'connecting' | 'connected' | 'waiting' | 'standing-back' | 'ended';

export interface SessionListener {
  arrived(message: Message, held: Held | undefined): boolean;
  /** something a person should look into */
  warn(text: string): void;
  /** for the log: connected, or no longer */
  note(text: string): void;
}

export interface SessionFacts {
  connects: number;
  /** times the broker had no session where it should have kept one: messages may be gone */
  sessionsLost: number;
  /** times another client took over with our client id */
  takenOver: number;
  /** acknowledgements that had lost their connection: those messages come again */
  acksDropped: number;
  acked: number;
  parks: number;
}

export class Session implements ConnectionListener {
  readonly facts: SessionFacts = { connects: 0, sessionsLost: 0, takenOver: 0, acksDropped: 0, acked: 0, parks: 0 };
  state: SessionState = 'idle';
  lastError = '';
  private connection: Connection | undefined;
  private retry: NodeJS.Timeout | undefined;
  private readonly backoff = new Backoff();
  /** why there is no connection, as the log has it: once for each reason */
  private toldWhy = '';
  private isBorrowed = false;
  private readonly warnings: Warnings;
  private readonly rivals: Rivals;

  constructor(
    private readonly url: string,
    private readonly options: IClientOptions,
    private readonly wanted: RememberedSession,
    private readonly memory: SessionStore,
    private readonly listener: SessionListener,
  ) {
    this.warnings = new Warnings((text) => listener.warn(text));
    this.rivals = new Rivals(wanted.clientId);
  }

  /** @param options isBorrowed: another's session; a connection that is lost is not opened again, for its owner may have it */
  start({ isBorrowed = false } = {}): void {
    this.isBorrowed = isBorrowed;
    const before = this.memory.recall();
    if (before && (before.clientId !== this.wanted.clientId || before.broker !== this.wanted.broker)) {
      this.warnings.give(
        'session-left',
        `the session of client id ${before.clientId} is left at the broker used before: what is queued there is not read`,
      );
      this.memory.forget();
    }
    this.open();
  }

  /** Acknowledges in the order given, each on the connection it came on. */
  acknowledge(held: readonly Held[]): void {
    for (let from = 0; from < held.length; ) {
      const { connection } = held[from]!;
      let to = from + 1;
      while (held[to]?.connection === connection) to++;
      const written = connection.acknowledge(held.slice(from, to).map((h) => h.messageId));
      this.facts.acked += written;
      this.facts.acksDropped += to - from - written;
      from = to;
    }
  }

  /** Sends a message, if there is a connection: what asks for something is asked again when it is missed. */
  publish(topic: string, bytes: Buffer): void {
    if (this.state === 'connected') this.connection?.client.publish(topic, bytes, { qos: 0 });
  }

  /** There is room again. */
  resume(): void {
    this.connection?.release();
    if (this.state === 'standing-back') this.open();
  }

  /** Nothing new comes to this session any more; what is queued does. */
  leaveTopics(): void {
    this.connection?.client.unsubscribe([...this.wanted.filters]);
  }

  /** Ends the connection; the session stays with the broker unless it is to be removed. */
  async end(remove: boolean): Promise<void> {
    clearTimeout(this.retry);
    const connection = this.connection;
    this.state = 'ended';
    this.connection = undefined;
    await connection?.end(remove);
    if (!remove) return;
    this.memory.forget();
    if (this.options.protocolVersion !== 5) await endSession3(this.url, this.options);
  }

  connected(connection: Connection, connack: IConnackPacket): void {
    this.facts.connects++;
    const before = this.memory.recall();
    if (before && !connack.sessionPresent) {
      this.facts.sessionsLost++;
      this.warnings.give(
        'session-lost',
        'the broker no longer had our session: messages published while we were away may be gone',
      );
    }
    if (connack.properties?.sessionExpiryInterval === 0) {
      this.warnings.give(
        'session-not-kept',
        'the broker does not keep sessions: what is published while we are away is lost',
      );
    }
    const subscribed = connack.sessionPresent ? before?.filters : undefined;
    subscribe(connection.client, this.wanted.filters, subscribed, (code, text) => this.warnings.give(code, text)).then(
      () => this.subscribed(connection),
      (cause: Error) => {
        if (connection !== this.connection) return;
        if (cause instanceof Trouble) this.warnings.give(cause.code, cause.message);
        connection.cut(cause.message);
      },
    );
  }

  arrived(message: Message, held: Held | undefined): boolean {
    const hasRoom = this.listener.arrived(message, held);
    if (!hasRoom) this.facts.parks++;
    return hasRoom;
  }

  /** The ledger is not coming back soon: leave, and let the broker keep the messages. */
  overstayed(): void {
    this.state = this.isBorrowed ? 'ended' : 'standing-back';
    const connection = this.connection;
    this.connection = undefined;
    connection?.end();
  }

  closed(connection: Connection, why: string, takenOver: boolean): void {
    if (connection !== this.connection || this.state === 'ended') return;
    const wasUp = this.state === 'connected';
    const lastedMs = wasUp ? performance.now() - connection.openedAtMs : 0;
    if (!this.isBorrowed) this.noticeRivals(why, takenOver, lastedMs);
    this.lastError = why;
    this.state = this.isBorrowed ? 'ended' : 'waiting';
    if (wasUp) this.listener.note(`connection to the broker lost: ${why}`);
    else if (why !== this.toldWhy) this.listener.note(`cannot connect to the broker, trying again: ${why}`);
    this.toldWhy = wasUp ? '' : why;
    if (!this.isBorrowed) this.retry = setTimeout(() => this.open(), this.backoff.next(lastedMs));
  }

  private open(): void {
    this.state = 'connecting';
    try {
      this.connection = new Connection(this.url, this.options, this);
    } catch (cause) {
      this.lastError = (cause as Error).message;
      this.state = this.isBorrowed ? 'ended' : 'waiting';
      if (!this.isBorrowed) this.retry = setTimeout(() => this.open(), this.backoff.next(0));
    }
  }

  private subscribed(connection: Connection): void {
    if (connection !== this.connection) return;
    this.state = 'connected';
    this.lastError = '';
    this.listener.note(`connected to the broker as ${this.wanted.clientId}`);
    this.memory.remember(this.wanted);
  }

  private noticeRivals(why: string, takenOver: boolean, lastedMs: number): void {
    if (takenOver) this.facts.takenOver++;
    const text = this.rivals.ended(why, takenOver, lastedMs);
    if (text !== undefined) this.warnings.give('client-id-contested', text);
  }
}
