/** The doors for what instruments measure and people type: samples, recordings, synchrophasor streams, Sparkplug, hand entries. */
import { get } from 'sparkplug-payload';
import { recordingWindows, singleFileWindows } from '../../lib/comtrade';
import { parseReading } from '../../lib/reading';
import { type ConfigFrame, type DataFrame, decodeFrame, encodeFrame, FrameSplitter } from '../../lib/synchrophasor';
import { bindChannels } from '../../lib/synchrophasor/channels';
import { WaveReader } from '../../lib/wave-reading';
import { entered, type Typed } from '../../nodes/board/field/entry';
import { takeValue } from '../../nodes/readings-in/intake';
import { SparkplugDoor } from '../../nodes/readings-in/sparkplug';
import type { Hostile } from './fuzz-input';
import {
  arrival,
  type DoorCase,
  demand,
  RECEIVED_AT_US,
  RULES,
  soundParse,
  soundProblems,
  soundTaken,
} from './fuzz-sound';

export function signalDoors(): Record<string, DoorCase> {
  return {
    'window of samples': (h) => soundWindow(h.below(3) ? h.almost(WINDOW) : h.value()),
    'samples as bytes': (h) => soundWindow({ ...WINDOW_HEAD, format: h.pick(FORMATS) }, h.broken(SAMPLE_BYTES)),
    'recording, ASCII': (h) => soundRecording(recordingWindows(h.damaged(cfg('ASCII')), h.damaged(ROWS_TEXT), RULE)),
    'recording, binary': (h) =>
      soundRecording(recordingWindows(h.below(2) ? CFG_BINARY : h.damaged(CFG_BINARY), h.broken(ROWS_BINARY), RULE)),
    'recording, single file': (h) =>
      soundRecording(singleFileWindows(h.below(2) ? h.damaged(CFF) : h.broken(Buffer.from(CFF)), RULE)),
    'synchrophasor stream': (h) => soundStream(h),
    'Sparkplug payload': (h) => soundSparkplug(h),
    'hand entry': (h) => soundEntry(h),
  };
}

const RATE_HZ = 3200;
const SAMPLES = Array.from({ length: 480 }, (_, k) => Math.round(10_000 * Math.cos((2 * Math.PI * 50 * k) / RATE_HZ)));
const WINDOW_HEAD = {
  terminal: 'hollin-bank/F3/S118/1',
  rateHz: RATE_HZ,
  firstAt: '2026-05-04T10:15:30.100000Z',
  nominalHz: 50,
  clock: { source: 'gnss', errorUs: 1, locked: true },
};
const WINDOW = {
  ...WINDOW_HEAD,
  samples: SAMPLES,
  scale: 1,
  fullScale: 32_767,
  index: 7,
  lastAt: '2026-05-04T10:15:30.249687Z',
};
const SAMPLE_BYTES = new Uint8Array(Int16Array.from(SAMPLES).buffer);
const FORMATS = ['int16', 'int32', 'float32', 'float64', 'int8', 'x'];

function soundWindow(value: unknown, bytes?: Uint8Array): void {
  const read = new WaveReader(60).read(value, bytes);
  if (read.ok) soundParse(parseReading(read.value, { receivedAtUs: RECEIVED_AT_US }));
  else soundProblems(read.problems);
}

// A recording of IEEE C37.111-2013, two voltages, from memory.
const RULE = { terminals: { VA: 'x/1', VB: 'x/2' } };
const ROW_COUNT = 320;
const cfg = (form: string): string =>
  [
    'Hollin bank,R-1,2013',
    '2,2A,0D',
    '1,VA,A,,kV,0.0008,0,0,-32767,32767,200,1,P',
    '2,VB,B,,kV,0.0008,0,0,-32767,32767,200,1,P',
    '50',
    '1',
    `${RATE_HZ},${ROW_COUNT}`,
    '04/05/2026,12:15:30.100000',
    '04/05/2026,12:15:30.200000',
    form,
    '1',
    '+2h00,+2h00',
    '0,0',
    '',
  ].join('\r\n');
const ROWS_TEXT = SAMPLES.slice(0, ROW_COUNT)
  .map((x, k) => `${k + 1},${Math.round(k * 312.5)},${x},${-x}`)
  .join('\r\n');
const CFG_BINARY = cfg('BINARY');
const ROWS_BINARY = rowsBinary();
const CFF = `--- file type: CFG ---\r\n${cfg('ASCII')}\r\n--- file type: DAT ASCII ---\r\n${ROWS_TEXT}\r\n`;

function rowsBinary(): Uint8Array {
  const view = new DataView(new ArrayBuffer(12 * ROW_COUNT));
  for (let k = 0; k < ROW_COUNT; k++) {
    view.setUint32(12 * k, k + 1, true);
    view.setUint32(12 * k + 4, Math.round(k * 312.5), true);
    view.setInt16(12 * k + 8, SAMPLES[k]!, true);
    view.setInt16(12 * k + 10, -SAMPLES[k]!, true);
  }
  return new Uint8Array(view.buffer);
}

function soundRecording(recording: ReturnType<typeof recordingWindows>): void {
  if (!recording.ok) {
    soundProblems(recording.problems);
    return;
  }
  demand(recording.windows.length > 0, 'a recording without windows and without a problem');
  soundWindow(recording.windows[0]);
}

const STREAM_TIME = { soc: 1_777_889_730, fraction: 0, quality: 0 };
const CONFIG: ConfigFrame = {
  type: 'config-2',
  version: 2,
  idCode: 7,
  time: STREAM_TIME,
  timeBase: 1_000_000,
  dataRate: 50,
  pmus: [
    {
      station: 'HOLLIN BANK',
      idCode: 7,
      format: { isPolar: true, floatPhasors: true, floatAnalogs: true, floatFrequency: true },
      phasors: [
        { name: 'VA', isCurrent: false, unit: 0 },
        { name: 'VB', isCurrent: false, unit: 0 },
      ],
      analogs: [],
      digitals: [],
      nominalHz: 50,
      changes: 1,
    },
  ],
};

function soundStream(h: Hostile): void {
  const splitter = new FrameSplitter();
  let config: ConfigFrame | undefined;
  const stream = h.broken(Buffer.concat([STREAM, h.below(2) ? STREAM : Buffer.alloc(0)]));
  for (let at = 0; at < stream.length; ) {
    const to = at + 1 + h.below(200);
    for (const cut of splitter.push(stream.subarray(at, to))) {
      if ('problem' in cut) soundProblems([cut.problem]);
      else config = soundFrame(cut.frame, config);
    }
    at = to;
  }
  demand(splitter.waiting < 65_536, 'more bytes are held than one frame has');
  // Without the stream's check sum, every injury comes to the decoder.
  soundFrame(h.broken(h.pick(FRAMES)), CONFIG);
}

function soundFrame(bytes: Uint8Array, config: ConfigFrame | undefined): ConfigFrame | undefined {
  const decoded = decodeFrame(bytes, config);
  if (!decoded.ok) {
    soundProblems([decoded.problem]);
    return config;
  }
  const { frame } = decoded;
  if (!('pmus' in frame) || frame.type === 'data') return config;
  bindChannels(frame as ConfigFrame, [{ pmu: 7, channel: 'VA', terminal: 'x/1' }]);
  return frame as ConfigFrame;
}

const FRAMES = makeFrames();
const STREAM = Buffer.concat(FRAMES);
function makeFrames(): Uint8Array[] {
  const data: DataFrame = {
    type: 'data',
    version: 2,
    idCode: 7,
    time: STREAM_TIME,
    pmus: [{ stat: 0, phasors: [7200, 0.5, 7200, -1.5], frequency: 50, frequencyRate: 0, analogs: [], digitals: [] }],
  };
  return [encodeFrame(CONFIG), encodeFrame(data, CONFIG)];
}

const codec = get('spBv1.0')!;
const TOPICS = [
  'NBIRTH/E1',
  'DBIRTH/E1/pole',
  'DDATA/E1/pole',
  'NDATA/E1',
  'NDEATH/E1',
  'DDEATH/E1/pole',
  'NCMD/E1',
  'x',
];
const METRICS = [
  { name: 'bdSeq', type: 'UInt64', value: 3 },
  { name: 'S118/2/against', type: 'String', value: 'utc' },
  { name: 'S118/2/clock/errorUs', alias: 12, type: 'Double', value: 1.5 },
  { name: 'S118/2/clock/locked', type: 'Boolean', value: true },
  { name: 'S118/2/angleDeg', alias: 10, type: 'Double', value: -118.4 },
];
const payload = (seq: number): Uint8Array =>
  codec.encodePayload({ timestamp: RECEIVED_AT_US / 1000, seq, metrics: METRICS as never });

/** Three messages of one source, the door remembers it from one to the next. */
async function soundSparkplug(h: Hostile): Promise<void> {
  const door = SparkplugDoor.open(undefined, { died: () => undefined, publish: () => undefined });
  for (let seq = 0; seq < 3; seq++) {
    const bytes = Buffer.from(h.below(3) ? h.broken(payload(h.below(4))) : payload(seq));
    const topic = `spBv1.0/west/${h.below(4) ? h.pick(TOPICS) : h.damaged(h.pick(TOPICS))}`;
    soundTaken(await door.take({ ...arrival(bytes), topic }, RULES));
  }
}

const TYPED: Typed = {
  terminal: 'x/1',
  angle: '-118,4',
  voltage: '7200',
  voltageIs: 'phase-to-neutral',
  against: 'utc',
  instrument: {
    id: 'P-01',
    isLocked: true,
    errorUs: '1',
    selfTest: 'pass',
    calibratedOn: '2026-01-10',
    coupling: 'contact',
  },
  by: 'crew 7',
  job: 'J1',
};

/** What people type is text in every field; the front door has the last word. */
function soundEntry(h: Hostile): void {
  const text = (right: string) => (h.below(3) ? right : h.damaged(right));
  const { instrument } = TYPED;
  const typed: Typed = {
    ...TYPED,
    terminal: text(TYPED.terminal),
    angle: text(TYPED.angle),
    voltage: text(TYPED.voltage),
    against: text(TYPED.against),
    by: text(TYPED.by),
    job: text(TYPED.job),
    note: text('by the pole'),
    instrument: {
      ...instrument,
      id: text(instrument.id),
      errorUs: text(instrument.errorUs),
      calibratedOn: text('2026-01-10'),
    },
  };
  const made = entered(typed, RECEIVED_AT_US - 1e6);
  if (!made.ok) {
    demand(
      Object.values(made.problems).some((p) => p !== ''),
      'refused without a reason',
    );
    return;
  }
  const wire = JSON.parse(JSON.stringify(made.reading));
  soundTaken(takeValue(arrival(Buffer.from(JSON.stringify(wire))), wire, RULES));
}
