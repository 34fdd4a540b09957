/** The node "phasor from samples": windows of samples in, readings out. */
import type { Node, NodeAPI, NodeDef } from 'node-red';
import { type RecordingRule, recordingWindows, singleFileWindows } from '../../lib/comtrade';
import { parseReading } from '../../lib/reading';
import type { Problem, Reading, Rejection } from '../../lib/records';
import { refusedFrame } from '../../lib/synchrophasor';
import { WaveDoor, type WaveEstimator, waveEstimator } from '../../lib/wave-estimators';
import type { WaveRead } from '../../lib/wave-reading';
import { M_FILTERS } from '../../lib/waveform-classes';
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
      const estimator = estimatorOf(def, nominalHz);
      run(RED, this, light, new WaveDoor(nominalHz, estimator), estimator.cycles);
    });
  });
};

/** @throws Trouble 'config' when there is no filter for the rate */
function estimatorOf(def: SamplesDef, nominalHz: number): WaveEstimator {
  const name = oneOf('estimator', def.estimator, ['hann', 'class-p', 'class-m']);
  const rates = Object.keys(M_FILTERS[nominalHz] ?? {});
  const framesPerS = Number(oneOf('framesPerS', String(def.framesPerS ?? ''), ['', ...rates]));
  const filter = { hann: undefined, 'class-p': { class: 'P' }, 'class-m': { class: 'M', framesPerS } } as const;
  const estimator = waveEstimator(nominalHz, filter[name]);
  if (estimator) return estimator;
  const right = rates.length > 0 ? `one of ${rates.join(', ')}` : 'a nominal frequency of 50 or 60 Hz';
  throw new Trouble('config', `class M at ${nominalHz} Hz needs frames a second; right is ${right}`);
}

/** Refusals that have a short text of their own in the catalogue. */
const SHORT = new Set(
  'too-few-samples too-short no-pulse pulse-jump gapped clipped no-signal off-frequency'.split(' '),
);

function run(RED: NodeAPI, node: Node, light: StatusLight, door: WaveDoor, cycles: number): void {
  const counts = { readings: 0, rejections: 0 };
  const say = (text: string, values?: object) => RED._(`${node.type}.${text}`, values as never);
  showVitalSigns(node, { counters: () => counts, gauges: () => ({ samplesHeld: door.waiting }) });
  light.show('grey', 'ring', say('status.waiting'));
  const tell = (made: Reading | Rejection) => {
    const code = made.kind === 'rejection' ? made.problems[0]!.code : undefined;
    counts[code === undefined ? 'readings' : 'rejections']++;
    light.show(code === undefined ? 'green' : 'yellow', 'dot', () => {
      const values = { read: shortCount(counts.readings), aside: shortCount(counts.rejections) };
      if (code === undefined) return say('status.counts', values);
      return say('status.refused', { ...values, why: say(`refusal.${SHORT.has(code) ? code : 'other'}`) });
    });
  };
  node.on('input', (given, send, done) => {
    try {
      const msg = given as WindowMessage;
      for (const [value, bytes] of windowsOf(msg, cycles)) {
        for (const read of door.read(value, bytes)) {
          const made = recordOf(read, value, bytes, sourceOf(msg));
          tell(made);
          if (made.kind === 'reading') send([{ ...given, payload: made, reading: made }, null]);
          else send([null, { ...given, payload: made }]);
        }
      }
      done();
    } catch (cause) {
      done(cause as Error);
    }
  });
  node.on('close', () => light.close());
}

/** @throws Trouble 'window-missing' when there are bytes and nothing says what they are */
function windowsOf({ payload, window }: WindowMessage, cycles: number): readonly (readonly [unknown, Uint8Array?])[] {
  if (payload instanceof Uint8Array) {
    if (window !== null && typeof window === 'object') return [[window, payload]];
    const right = 'an object with terminal, rateHz, firstAt and format';
    throw new Trouble('window-missing', `msg.payload is binary and msg.window is ${typeof window}; right is ${right}`);
  }
  if (isRecording(payload)) return windowsOfRecording({ ...payload, cycles }).map((value) => [value] as const);
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

function recordOf(read: WaveRead, value: unknown, bytes: Uint8Array | undefined, source: string): Reading | Rejection {
  const receivedAtUs = Date.now() * 1000;
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
