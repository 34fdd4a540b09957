/** The node "phasor from samples": windows of samples in, readings out. */
import type { Node, NodeAPI, NodeDef } from 'node-red';
import { type RecordingRule, recordingWindows, singleFileWindows } from '../../lib/comtrade';
import { parseReading } from '../../lib/reading';
import type { Problem, Reading, Rejection } from '../../lib/records';
import { refusedFrame } from '../../lib/synchrophasor';
import { WaveReader } from '../../lib/wave-reading';
import { type WavePhasor, type WaveWindow, wavePhasor } from '../../lib/waveform';
import { classPhasor, M_FILTERS } from '../../lib/waveform-classes';
import { type NumberSetting, numberOr, oneOf } from '../kit/config-values';
import { startOrRefuse } from '../kit/evidence';
import type { StatusLight } from '../kit/status';
import { shortCount } from '../kit/tally';
import { Trouble } from '../kit/trouble';
import { showVitalSigns } from '../kit/vital-signs';

interface SamplesDef extends NodeDef {
  nominalHz: NumberSetting;
  estimator: string;
  framesPerS: NumberSetting;
}

interface WindowMessage {
  payload?: unknown;
  /** what the samples are, when the payload is a Buffer */
  window?: unknown;
  topic?: unknown;
}

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-phasor-from-samples', function (this: Node, def: SamplesDef) {
    RED.nodes.createNode(this, def);
    startOrRefuse(RED, this, (light) => {
      const nominalHz = numberOr(60, 'nominalHz', def.nominalHz, { least: 10, most: 500 });
      run(RED, this, light, new WaveReader(nominalHz, estimatorOf(def, nominalHz)));
    });
  });
};

/** @throws Trouble 'config' when there is no filter for the rate */
function estimatorOf(def: SamplesDef, nominalHz: number): (w: WaveWindow) => WavePhasor {
  const estimator = oneOf('estimator', def.estimator, ['hann', 'class-p', 'class-m']);
  if (estimator === 'hann') return wavePhasor;
  if (estimator === 'class-p') return (w) => classPhasor(w, { class: 'P' });
  const rates = Object.keys(M_FILTERS[nominalHz] ?? {});
  const framesPerS = Number(oneOf('framesPerS', String(def.framesPerS ?? ''), ['', ...rates]));
  if (framesPerS > 0) return (w) => classPhasor(w, { class: 'M', framesPerS });
  const right = rates.length > 0 ? `one of ${rates.join(', ')}` : 'a nominal frequency of 50 or 60 Hz';
  throw new Trouble('config', `class M at ${nominalHz} Hz needs frames a second; right is ${right}`);
}

function run(RED: NodeAPI, node: Node, light: StatusLight, reader: WaveReader): void {
  const counts = { readings: 0, rejections: 0 };
  const say = (text: string, values?: object) => RED._(`${node.type}.status.${text}`, values as never);
  showVitalSigns(node, { counters: () => counts });
  light.show('grey', 'ring', say('waiting'));
  node.on('input', (given, send, done) => {
    try {
      const msg = given as WindowMessage;
      for (const [value, bytes] of windowsOf(msg)) {
        const made = readingOf(reader, value, bytes, sourceOf(msg));
        const isReading = made.kind === 'reading';
        counts[isReading ? 'readings' : 'rejections']++;
        const out = { ...given, payload: made, ...(isReading ? { reading: made } : {}) };
        send(isReading ? [out, null] : [null, out]);
        light.show(isReading ? 'green' : 'yellow', 'dot', () =>
          say('counts', { read: shortCount(counts.readings), aside: shortCount(counts.rejections) }),
        );
      }
      done();
    } catch (cause) {
      done(cause as Error);
    }
  });
  node.on('close', () => light.close());
}

/** @throws Trouble 'window-missing' when there are bytes and nothing says what they are */
function windowsOf({ payload, window }: WindowMessage): readonly (readonly [unknown, Uint8Array?])[] {
  if (payload instanceof Uint8Array) {
    if (window !== null && typeof window === 'object') return [[window, payload]];
    const right = 'an object with terminal, rateHz, firstAt and format';
    throw new Trouble('window-missing', `msg.payload is binary and msg.window is ${typeof window}; right is ${right}`);
  }
  if (isRecording(payload)) return windowsOfRecording(payload).map((value) => [value] as const);
  return Array.isArray(payload) ? payload.map((value) => [value] as const) : [[payload]];
}

type File = string | Uint8Array;
type RecordingPayload = RecordingRule & ({ readonly cfg: File; readonly dat: File } | { readonly cff: File });

const isRecording = (value: unknown): value is RecordingPayload =>
  typeof value === 'object' && value !== null && ('cff' in value || ('cfg' in value && 'dat' in value));

const isFile = (value: unknown): value is File => typeof value === 'string' || value instanceof Uint8Array;

/** @throws Trouble with what is wrong with the files, or with what should stand beside them */
function windowsOfRecording(given: RecordingPayload): readonly unknown[] {
  const files = 'cff' in given ? [given.cff] : [given.cfg, given.dat];
  if (!files.every(isFile))
    throw new Trouble('recording-wrong', 'cfg and dat, or cff, must be the files, each as text or Buffer');
  if (given.terminals === null || typeof given.terminals !== 'object')
    throw new Trouble('recording-wrong', 'terminals is missing; right is an object of channel id to terminal');
  const recording =
    'cff' in given ? singleFileWindows(given.cff, given) : recordingWindows(textOf(given.cfg), given.dat, given);
  if (recording.ok) return recording.windows;
  const { at, code, what, expected } = recording.problems[0] as Problem;
  throw new Trouble(code, `${at}${at && ': '}${what}; right would be ${expected}`);
}

const textOf = (file: File): string => (typeof file === 'string' ? file : new TextDecoder().decode(file));

function readingOf(
  reader: WaveReader,
  value: unknown,
  bytes: Uint8Array | undefined,
  source: string,
): Reading | Rejection {
  const receivedAtUs = Date.now() * 1000;
  const read = reader.read(value, bytes);
  const parsed = read.ok ? parseReading(read.value, { receivedAtUs }) : read;
  if (parsed.ok) return parsed.reading;
  const [problem] = parsed.problems as [Problem];
  return refusedFrame(source, bytes ?? new Uint8Array(), receivedAtUs, problem, terminalOf(value));
}

function terminalOf(value: unknown): string | null {
  const terminal = (value as { terminal?: unknown } | null | undefined)?.terminal;
  return typeof terminal === 'string' && terminal !== '' ? terminal.slice(0, 200) : null;
}

const sourceOf = ({ topic }: WindowMessage): string =>
  typeof topic === 'string' && topic !== '' ? topic.slice(0, 200) : 'samples';
