/**
 * One connection to the broker whose acknowledgements are deferred. Messages of quality of service 1 are taken out of the stream before
 * mqtt.js sees them; all else is its work. We write the PUBACKs ourselves, after the commit, to the stream the messages came on. What
 * was not acknowledged when the stream ends is delivered again by the broker.
 */
import {
  connect,
  type IClientOptions,
  type IConnackPacket,
  type IDisconnectPacket,
  type IPublishPacket,
  type MqttClient,
  type StreamBuilder,
} from 'mqtt';
import type { Published } from './publish-splitter';
import { TappedStream } from './tapped-stream';

/** A message that waits for its acknowledgement. */
export interface Held {
  readonly connection: Connection;
  readonly messageId: number;
}

/** What is taken of a message. */
export type Message = Pick<IPublishPacket, 'topic' | 'payload' | 'retain'>;

export interface ConnectionListener {
  connected(connection: Connection, connack: IConnackPacket): void;
  /** false: no room for more; the connection parks until release() */
  arrived(message: Message, held: Held | undefined): boolean;
  /** parked for so long that the keepalive is at risk */
  overstayed(): void;
  closed(connection: Connection, why: string, takenOver: boolean): void;
}

const DEFERRED = new Error('acknowledged after the commit');
const SESSION_TAKEN_OVER = 142;
const END_DEADLINE_MS = 4000;

export class Connection {
  readonly openedAtMs = performance.now();
  readonly client: MqttClient;
  private isOpen = true;
  private why = '';
  private takenOver = false;
  private stream: TappedStream | undefined;
  private parked: (() => void)[] = [];
  private parkTimer: NodeJS.Timeout | undefined;

  constructor(
    url: string,
    options: IClientOptions,
    private readonly listener: ConnectionListener,
  ) {
    this.client = connect(url, { ...options, manualConnect: true });
    this.tap();
    this.client.handleMessage = (packet, callback) => this.passedOn(packet, callback);
    this.client.on('connect', (connack) => listener.connected(this, connack));
    this.client.on('disconnect', (packet) => this.dismissed(packet));
    this.client.on('error', (error) => {
      this.why ||= error.message || (error as { code?: string }).code || String(error);
    });
    this.client.on('close', () => this.lost());
    this.client.connect();
  }

  /**
   * PUBACKs in the order given; how many could still be written to the stream their messages came on. They keep the connection alive as
   * any packet does (MQTT 5.0, 3.1.2.10): a ping would wait for its answer behind all that a broker sent beyond the window.
   */
  acknowledge(messageIds: readonly number[]): number {
    if (!this.isOpen || this.client.stream.destroyed) return 0;
    this.client.stream.write(pubacks(messageIds));
    this.client.reschedulePing();
    return messageIds.length;
  }

  /** There is room again: the packet pump goes on. */
  release(): void {
    clearTimeout(this.parkTimer);
    for (const goOn of this.parked.splice(0)) goOn();
  }

  /** Says goodbye and waits until it is said, for a few seconds at most. `endSession`: the broker need not keep it (MQTT 5). */
  async end(endSession = false): Promise<void> {
    const wasOpen = this.isOpen;
    this.isOpen = false;
    this.release();
    if (!wasOpen) return;
    if (!this.client.connected) {
      this.client.end(true);
      return;
    }
    const farewell =
      endSession && this.client.options.protocolVersion === 5 ? { properties: { sessionExpiryInterval: 0 } } : {};
    await new Promise<void>((resolve) => {
      const timer = setTimeout(() => {
        this.client.end(true);
        this.client.stream.destroy();
        resolve();
      }, END_DEADLINE_MS);
      this.client.end(false, farewell, () => {
        clearTimeout(timer);
        resolve();
      });
    });
  }

  /** Drops the line without a word: what is unacknowledged comes again. */
  cut(why: string): void {
    this.why ||= why;
    this.client.stream.destroy();
  }

  /** mqtt.js makes the stream, whatever the transport, and goes on reading and writing it as if nothing were taken out. */
  private tap(): void {
    const inside = this.client as unknown as { streamBuilder: StreamBuilder };
    const make = inside.streamBuilder;
    inside.streamBuilder = (client) => {
      const hasProperties = client.options.protocolVersion === 5;
      this.stream = new TappedStream(make(client), { hasProperties, message: (message) => this.came(message) });
      return this.stream;
    };
  }

  private came(message: Published): boolean {
    if (!this.isOpen || this.listener.arrived(message, { connection: this, messageId: message.messageId })) return true;
    this.park(() => this.stream?.goOn());
    return false;
  }

  /**
   * What was not taken out of the stream: quality of service 0, or 2, which mqtt.js has taken over before we see it, so that nothing is left
   * to defer. Should a message of quality 1 come this way, an error makes mqtt.js send no PUBACK and go on.
   */
  private passedOn(packet: IPublishPacket, callback: (error?: Error) => void): void {
    const held = packet.qos === 1 ? { connection: this, messageId: packet.messageId! } : undefined;
    const goOn = () => callback(held && DEFERRED);
    if (!this.isOpen || this.listener.arrived(packet, held)) goOn();
    else this.park(goOn);
  }

  /** A ping may just have been sent; its answer must be read within half a keepalive. */
  private park(goOn: () => void): void {
    this.parked.push(goOn);
    clearTimeout(this.parkTimer);
    this.parkTimer = setTimeout(() => this.listener.overstayed(), (this.client.keepalive ?? 60) * 250);
  }

  private dismissed(packet: IDisconnectPacket): void {
    this.takenOver = packet.reasonCode === SESSION_TAKEN_OVER;
    this.why ||= `the broker ended the connection (reason ${packet.reasonCode ?? 0})`;
  }

  private lost(): void {
    const wasOpen = this.isOpen;
    this.isOpen = false;
    this.release();
    if (wasOpen) this.listener.closed(this, this.why || 'connection closed', this.takenOver);
  }
}

/** MQTT 3.1.1, section 3.4; MQTT 5 reads it so too, without reason code and properties, as success. */
function pubacks(messageIds: readonly number[]): Buffer {
  const bytes = Buffer.allocUnsafe(4 * messageIds.length);
  for (const [i, messageId] of messageIds.entries()) {
    bytes.writeUInt16BE(0x4002, 4 * i);
    bytes.writeUInt16BE(messageId, 4 * i + 2);
  }
  return bytes;
}
