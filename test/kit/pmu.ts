/** A small sender of synchrophasors on loopback: answers commands by TCP or UDP and sends data where the test says. */
import { createSocket, type Socket as UdpSocket } from 'node:dgram';
import { once } from 'node:events';
import { type AddressInfo, createServer, type Server, type Socket } from 'node:net';
import {
  COMMANDS,
  type ConfigFrame,
  type DataFrame,
  decodeFrame,
  encodeConfigParts,
  encodeFrame,
  FrameSplitter,
  frameTime,
} from '../../lib/synchrophasor';

/** The same channels as a CFG-3. */
export function longConfig(config: ConfigFrame): ConfigFrame {
  const pmus = config.pmus.map((pmu) => ({
    ...pmu,
    phasors: pmu.phasors.map(({ name, isCurrent }, k) => ({
      name,
      isCurrent,
      scale: { flags: 0, component: 4 + (k % 3), user: 0, factor: 1, angleRad: 0 },
    })),
  }));
  return { ...config, type: 'config-3', version: 2, pmus };
}

/** Three voltages of one PMU, floats in polar form. */
export function pmuConfig(idCode = 7, names: readonly string[] = ['VA', 'VB', 'VC', 'IA']): ConfigFrame {
  const phasors = names.map((name) => ({ name, isCurrent: name.startsWith('I'), unit: 100_000 }));
  const format = { isPolar: true, floatPhasors: true, floatAnalogs: false, floatFrequency: true };
  const pmu = {
    station: 'Hollin bank',
    idCode,
    format,
    phasors,
    analogs: [],
    digitals: [],
    nominalHz: 60 as const,
    changes: 1,
  };
  const time = { soc: 1_772_000_000, fraction: 0, quality: 0 };
  return { type: 'config-2', version: 1, idCode, time, timeBase: 1_000_000, pmus: [pmu], dataRate: 30 };
}

export function pmuData(config: ConfigFrame, us: number, stat = 0x0080): DataFrame {
  const pmus = config.pmus.map(({ phasors }) => ({
    stat,
    phasors: phasors.flatMap((_, i) => [7200 + i, (-2 * Math.PI * i) / 3]),
    frequency: 59.98,
    frequencyRate: 0,
    analogs: [],
    digitals: [],
  }));
  return { type: 'data', version: 1, idCode: config.idCode, time: frameTime(us, config.timeBase), pmus };
}

export class Pmu {
  config = pmuConfig();
  readonly commands: number[] = [];
  readonly tcp: Server = createServer((socket) => this.serve(socket));
  readonly udp: UdpSocket = createSocket('udp4');
  readonly lines = new Set<Socket>();
  /** answers configuration requests */
  answers = true;
  /** answers requests for a CFG-3 with this one, in parts of so many bytes at most */
  long: { readonly config: ConfigFrame; readonly mostBytes: number } | undefined;
  private peer: { address: string; port: number } | undefined;

  async start(): Promise<this> {
    this.tcp.listen(0, '127.0.0.1');
    this.udp.bind(0, '127.0.0.1');
    this.udp.on('message', (bytes, from) => {
      this.peer = from;
      this.take(bytes, (answer) => this.udp.send(answer, from.port, from.address));
    });
    await Promise.all([once(this.tcp, 'listening'), once(this.udp, 'listening')]);
    return this;
  }

  get tcpPort(): number {
    return (this.tcp.address() as AddressInfo).port;
  }

  get udpPort(): number {
    return this.udp.address().port;
  }

  /** To every TCP line. */
  send(bytes: Uint8Array): void {
    for (const line of this.lines) line.write(bytes);
  }

  /** To the last UDP peer, or to a port of this machine. */
  sendUdp(bytes: Uint8Array, port = this.peer!.port): void {
    this.udp.send(bytes, port, '127.0.0.1');
  }

  data(us = Date.now() * 1000, stat?: number): Uint8Array {
    return encodeFrame(pmuData(this.config, us, stat), this.config);
  }

  /** Waits until this command has come so many times. */
  async commanded(name: keyof typeof COMMANDS, times = 1, withinMs = 5000): Promise<void> {
    const deadline = Date.now() + withinMs;
    while (this.commands.filter((c) => c === COMMANDS[name]).length < times) {
      if (Date.now() > deadline)
        throw new Error(`${name} did not come ${times} times; came: ${this.commands.join(' ')}`);
      await new Promise((r) => setTimeout(r, 10));
    }
  }

  cut(): void {
    for (const line of this.lines) line.destroy();
  }

  stop(): void {
    this.cut();
    this.tcp.close();
    this.udp.close();
  }

  private serve(socket: Socket): void {
    const splitter = new FrameSplitter();
    this.lines.add(socket);
    socket.on('close', () => this.lines.delete(socket));
    socket.on('error', () => {});
    socket.on('data', (chunk) => {
      for (const cut of splitter.push(chunk))
        if ('frame' in cut) this.take(cut.frame, (answer) => socket.write(answer));
    });
  }

  private take(bytes: Uint8Array, answer: (bytes: Uint8Array) => void): void {
    const decoded = decodeFrame(bytes);
    if (!decoded.ok || decoded.frame.type !== 'command') return;
    this.commands.push(decoded.frame.command);
    const { command, idCode, time } = decoded.frame;
    if (command === COMMANDS['send-config-2'] && this.answers) answer(encodeFrame(this.config));
    if (command === COMMANDS['send-config-3'] && this.answers && this.long)
      for (const part of encodeConfigParts(this.long.config, this.long.mostBytes)) answer(part);
    if (command === COMMANDS['send-header'])
      answer(encodeFrame({ type: 'header', version: 1, idCode, time, text: 'A test PMU' }));
  }
}
