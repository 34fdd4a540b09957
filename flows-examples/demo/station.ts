/** A phasor measurement unit of the demo: answers commands and sends synchrophasors (IEEE C37.118.2) by TCP, ten a second. */
import { createServer, type Server, type Socket } from 'node:net';
import {
  COMMANDS,
  type ConfigFrame,
  type DataFrame,
  decodeFrame,
  encodeFrame,
  FrameSplitter,
  frameTime,
} from '../../lib/synchrophasor';
import { listen } from './embedded';
import { type Chance, chance } from './random';
import { CHANNELS, frequencyHz, NOMINAL_HZ, STATION, trueAngleDeg, trueVoltageV } from './signals';

const TIME_BASE = 1_000_000;
const FRAMES_A_SECOND = 10;
const SIGMA = 0.001;
/** In step with UTC within a microsecond (PMU_TQ 2). */
const STAT = 0x0080;

const config: ConfigFrame = {
  type: 'config-2',
  version: 1,
  idCode: STATION.idCode,
  time: { soc: 0, fraction: 0, quality: 0 },
  timeBase: TIME_BASE,
  pmus: [
    {
      station: STATION.name,
      idCode: STATION.idCode,
      format: { isPolar: true, floatPhasors: true, floatAnalogs: false, floatFrequency: true },
      phasors: CHANNELS.map((name) => ({ name, isCurrent: false, unit: 0 })),
      analogs: [],
      digitals: [],
      nominalHz: NOMINAL_HZ,
      changes: 1,
    },
  ],
  dataRate: FRAMES_A_SECOND,
};

/** The frame of an instant. */
export function frameAt(us: number, noise: Chance): DataFrame {
  const phasors = CHANNELS.flatMap((_, conductor) => [
    trueVoltageV(STATION.place, conductor) * (1 + SIGMA * noise.normal()),
    (trueAngleDeg(STATION.place, conductor, us) / 180) * Math.PI + SIGMA * noise.normal(),
  ]);
  const turned = phasors.map((x, i) => (i % 2 === 0 ? x : Math.atan2(Math.sin(x), Math.cos(x))));
  const pmu = { stat: STAT, phasors: turned, frequency: frequencyHz(us), frequencyRate: 0, analogs: [], digitals: [] };
  return { type: 'data', version: 1, idCode: STATION.idCode, time: frameTime(us, TIME_BASE), pmus: [pmu] };
}

export interface Station {
  readonly port: number;
  /** starts to send: it answers commands before */
  begin(): void;
  stop(): void;
}

/** On the first free port from `firstPort` on, this machine only. */
export async function startStation(firstPort: number, seed = 101): Promise<Station> {
  const receivers = new Set<Socket>();
  const lines = new Set<Socket>();
  const server: Server = createServer((socket) => {
    const splitter = new FrameSplitter();
    lines.add(socket);
    socket.on('close', () => [lines, receivers].forEach((set) => void set.delete(socket)));
    socket.on('error', () => socket.destroy());
    socket.on('data', (chunk) => {
      for (const cut of splitter.push(chunk)) if ('frame' in cut) obey(cut.frame, socket, receivers);
    });
  });
  const port = await listen(server, firstPort);
  const noise = chance(seed);
  const everyMs = 1000 / FRAMES_A_SECOND;
  let sending: NodeJS.Timeout | undefined;
  return {
    port,
    begin() {
      let dueMs = Math.ceil(Date.now() / everyMs) * everyMs;
      sending ??= setInterval(() => {
        for (const nowMs = Date.now(); dueMs <= nowMs; dueMs += everyMs) {
          const bytes = encodeFrame(frameAt(dueMs * 1000, noise), config);
          for (const socket of receivers) socket.write(bytes);
        }
      }, everyMs);
    },
    stop() {
      clearInterval(sending);
      for (const socket of lines) socket.destroy();
      server.close();
    },
  };
}

function obey(bytes: Uint8Array, socket: Socket, receivers: Set<Socket>): void {
  const decoded = decodeFrame(bytes);
  if (!decoded.ok || decoded.frame.type !== 'command') return;
  const { command } = decoded.frame;
  if (command === COMMANDS['send-config-2'])
    socket.write(encodeFrame({ ...config, time: frameTime(Date.now() * 1000, TIME_BASE) }));
  else if (command === COMMANDS['data-on']) receivers.add(socket);
  else if (command === COMMANDS['data-off']) receivers.delete(socket);
}
