/** The way to the PMU: a TCP connection, a UDP socket, or both (commands by TCP, data by UDP). */
import { createSocket, type Socket as UdpSocket } from 'node:dgram';
import { connect, type Socket } from 'node:net';
import { type Cut, FrameSplitter } from '../../lib/synchrophasor';
import type { Settings } from './settings';

export interface LinkListener {
  up(): void;
  came(cut: Cut): void;
  down(why: string): void;
}

export class Link {
  private readonly tcp: Socket | undefined;
  private readonly udp: UdpSocket | undefined;
  private isOpen = true;
  private isReady = { tcp: false, udp: false };

  constructor(
    private readonly settings: Settings,
    private readonly listener: LinkListener,
  ) {
    this.tcp = settings.transport === 'udp' ? undefined : this.openTcp();
    this.udp = settings.transport === 'tcp' ? undefined : this.openUdp();
  }

  /** The address and port of our UDP socket, once it is bound. */
  get localPort(): number | undefined {
    return this.isReady.udp ? this.udp?.address().port : undefined;
  }

  send(bytes: Uint8Array): void {
    if (!this.isOpen) return;
    if (this.tcp) this.tcp.write(bytes);
    else if (this.settings.host !== '' && this.isReady.udp) this.udp!.send(bytes);
  }

  /** Ends without telling the listener; what was sent before still goes out. */
  close(): void {
    this.isOpen = false;
    this.tcp?.end();
    setTimeout(() => this.tcp?.destroy(), 500).unref();
    if (this.udp) closeQuietly(this.udp);
  }

  private openTcp(): Socket {
    const socket = connect({ host: this.settings.host, port: this.settings.port, noDelay: true, keepAlive: true });
    const splitter = new FrameSplitter();
    socket.setTimeout(15_000, () => {
      if (socket.connecting) this.fail('no answer to the connection');
    });
    socket.on('connect', () => this.ready('tcp'));
    socket.on('data', (chunk) => {
      for (const cut of splitter.push(chunk)) if (this.isOpen) this.listener.came(cut);
    });
    socket.on('error', (error) => this.fail(error.message || String((error as NodeJS.ErrnoException).code)));
    socket.on('close', () => this.fail('the connection was closed'));
    return socket;
  }

  private openUdp(): UdpSocket {
    const { host, port, localPort, transport } = this.settings;
    const socket = createSocket({ type: host.includes(':') ? 'udp6' : 'udp4', reuseAddr: false });
    socket.on('error', (error) => this.fail(error.message));
    socket.on('message', (frame, from) => {
      if (this.isOpen && this.isOurs(from.address)) this.listener.came({ frame });
    });
    socket.bind(localPort, () => {
      if (transport === 'udp' && host !== '') this.aim(socket, port, host);
      else this.ready('udp');
    });
    return socket;
  }

  /** A host that does not resolve is told to the callback, not as an event: sending then would throw. */
  private aim(socket: UdpSocket, port: number, host: string): void {
    socket.connect(port, host, (error?: Error) => (error ? this.fail(error.message) : this.ready('udp')));
  }

  /** Data of a TCP-commanded stream come from the host that the commands go to. */
  private isOurs(address: string): boolean {
    if (!this.tcp) return true;
    return address === this.tcp.remoteAddress?.replace(/^::ffff:/, '');
  }

  private ready(part: 'tcp' | 'udp'): void {
    this.isReady[part] = true;
    if (this.isOpen && (!this.tcp || this.isReady.tcp) && (!this.udp || this.isReady.udp)) this.listener.up();
  }

  private fail(why: string): void {
    if (!this.isOpen) return;
    this.close();
    this.listener.down(why);
  }
}

function closeQuietly(socket: UdpSocket): void {
  try {
    socket.close();
  } catch {
    // It was closed before.
  }
}
