/**
 * One connection to the broker whose acknowledgements are deferred. Answering handleMessage with an error makes mqtt.js send no PUBACK
 * and go on with the next packet; we write the PUBACKs ourselves, after the commit, to the stream the messages came on. What was not
 * acknowledged when the stream ends is delivered again by the broker.
 */
import {
  connect,
  type IClientOptions,
  type IConnackPacket,
  type IDisconnectPacket,
  type IPublishPacket,
  type MqttClient,
} from 'mqtt';
import { generate } from 'mqtt-packet';

/** A message that waits for its acknowledgement. */
export interface Held {
  readonly connection: Connection;
  readonly messageId: number;
}

export interface ConnectionListener {
  connected(connection: Connection, connack: IConnackPacket): void;
  /** false: no room for more; the connection parks until release() */
  arrived(packet: IPublishPacket, held: Held | undefined): boolean;
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
  private parked: (() => void) | undefined;
  private parkTimer: NodeJS.Timeout | undefined;

  constructor(
    url: string,
    options: IClientOptions,
    private readonly listener: ConnectionListener,
  ) {
    this.client = connect(url, options);
    this.client.handleMessage = (packet, callback) => this.hold(packet, callback);
    this.client.on('connect', (connack) => listener.connected(this, connack));
    this.client.on('disconnect', (packet) => this.dismissed(packet));
    this.client.on('error', (error) => {
      this.why ||= error.message || (error as { code?: string }).code || String(error);
    });
    this.client.on('close', () => this.lost());
  }

  /**
   * PUBACKs in the order given; how many could still be written to the stream their messages came on. They keep the connection alive as
   * any packet does (MQTT 5.0, 3.1.2.10): a ping would wait for its answer behind all that a broker sent beyond the window.
   */
  acknowledge(messageIds: readonly number[]): number {
    if (!this.isOpen || this.client.stream.destroyed) return 0;
    this.client.stream.write(Buffer.concat(messageIds.map((messageId) => generate({ cmd: 'puback', messageId }))));
    this.client.reschedulePing();
    return messageIds.length;
  }

  /** There is room again: the packet pump goes on. */
  release(): void {
    clearTimeout(this.parkTimer);
    const goOn = this.parked;
    this.parked = undefined;
    goOn?.();
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

  private hold(packet: IPublishPacket, callback: (error?: Error) => void): void {
    // A QoS 2 message has been taken over by mqtt.js before we see it: nothing is left to defer.
    const isHeld = packet.qos === 1 && packet.messageId !== undefined;
    const goOn = () => callback(isHeld ? DEFERRED : undefined);
    if (!this.isOpen || this.hasRoomAfter(packet, isHeld)) goOn();
    else this.park(goOn);
  }

  private hasRoomAfter(packet: IPublishPacket, isHeld: boolean): boolean {
    return this.listener.arrived(packet, isHeld ? { connection: this, messageId: packet.messageId! } : undefined);
  }

  /** A ping may just have been sent; its answer must be read within half a keepalive. */
  private park(goOn: () => void): void {
    this.parked = goOn;
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
