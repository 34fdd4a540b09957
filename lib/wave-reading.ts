import { type Static, Type } from '@sinclair/typebox';
import { formatInstant, parseInstant } from './instant';
import type { Problem } from './records';
import { Instant, Name } from './records/envelope';
import { SampleClock } from './sample-clock';
import { bytesOfBase64, SAMPLE_FORMATS, samplesOfBytes } from './sample-format';
import { problemsAgainst } from './validate';
import { type WavePhasor, type WaveReading, type WaveWindow, wavePhasor } from './waveform';

/** A window of samples as it arrives. Members of a reading that are not listed (clock, coupling, instrument ...) pass through. */
export const WaveDocument = Type.Object({
  terminal: Name('where: a path ending in the terminal'),
  rateHz: Type.Number({ exclusiveMinimum: 0, maximum: 10e6 }),
  firstAt: Instant(),
  lastAt: Type.Optional(Instant()),
  index: Type.Optional(Type.Integer({ minimum: 0, description: 'count of the first sample since the sampler began' })),
  nominalHz: Type.Optional(Type.Number({ minimum: 10, maximum: 500 })),
  samples: Type.Union([Type.Array(Type.Unknown(), { maxItems: 1_000_000 }), Type.String({ maxLength: 16e6 })], {
    description: 'a list of numbers, or little-endian binary as base64 with its format',
  }),
  format: Type.Optional(Type.Union(SAMPLE_FORMATS.map((f) => Type.Literal(f)))),
  scale: Type.Optional(Type.Number({ exclusiveMinimum: 0, description: 'volts a count; 1 when left out' })),
  fullScale: Type.Optional(Type.Number({ exclusiveMinimum: 0, description: 'largest count of the converter' })),
  antiAliased: Type.Optional(Type.Boolean()),
  everyS: Type.Optional(
    Type.Number({
      minimum: 0.001,
      maximum: 86_400,
      description: 'a piece of a stream: a reading every so many seconds',
    }),
  ),
});
export type WaveDocument = Static<typeof WaveDocument>;

export type WaveRead =
  | { readonly ok: true; readonly value: Readonly<Record<string, unknown>>; readonly reading: WaveReading }
  | { readonly ok: false; readonly problems: readonly Problem[] };

const RIGHT: Readonly<Record<string, string>> = {
  'bad-rate': 'a sample rate and a nominal frequency above zero',
  'too-few-samples': '64 samples a cycle, or 8 with antiAliased: true',
  'too-short': 'five cycles of the nominal frequency, more for a class M filter',
  'no-pulse': 'the UTC time of the first sample',
  'pulse-jump': 'pulses one second apart by the sample clock',
  gapped: 'every sample, evenly spaced',
  clipped: 'a range of the converter above the crest of the voltage',
  'no-signal': 'a voltage that stands out of the noise',
  'off-frequency': 'a voltage near the nominal frequency',
};

/** Reads windows of samples; remembers the sample clock of each terminal and instrument. */
export class WaveReader {
  private readonly clock = new SampleClock();

  /** @param estimate phasor of a window; two-pass Hann when left out */
  constructor(
    readonly nominalHz: number,
    private readonly estimate: (w: WaveWindow) => WavePhasor = wavePhasor,
  ) {}

  /**
   * A reading not yet checked by `parseReading`: angle against UTC, voltage, frequency, sigma, at the middle of the window.
   * @param bytes stand in for `samples` of the document
   */
  read(given: unknown, bytes?: Uint8Array): WaveRead {
    const taken = takeSamples(given, bytes);
    return taken.ok ? this.judged(taken.doc, taken.samples) : taken;
  }

  private judged(doc: WaveDocument, samples: ArrayLike<number>): WaveRead {
    const { rateHz, firstAt, lastAt, index } = doc;
    const atUs = parseInstant(firstAt);
    const jump = index === undefined ? undefined : this.clock.jump(channelOf(doc), { firstUs: atUs, index, rateHz });
    if (jump) return refusedSamples('pulse-jump', jump);
    const secondUs = Math.floor(atUs / 1e6) * 1e6;
    const lastUs = lastAt === undefined ? {} : { lastUs: parseInstant(lastAt) - secondUs };
    return this.judge(doc, { samples, firstUs: atUs - secondUs, ...lastUs }, secondUs);
  }

  /** The reading of a window of which the document tells all but the samples and their time. */
  judge(doc: WaveDocument, cut: Pick<WaveWindow, 'samples' | 'firstUs' | 'lastUs'>, secondUs: number): WaveRead {
    const { terminal, rateHz, nominalHz, fullScale, antiAliased, scale = 1, ...more } = doc;
    const { samples: _s, format: _f, firstAt: _a, lastAt: _l, index: _i, everyS: _e, ...rest } = more;
    const got = this.estimate({
      ...cut,
      rateHz,
      nominalHz: nominalHz ?? this.nominalHz,
      ...(fullScale === undefined ? {} : { fullScale }),
      ...(antiAliased === undefined ? {} : { antiAliased }),
    });
    if (!got.ok) return refusedSamples(got.code, got.why);
    const value = {
      ...rest,
      terminal,
      takenAt: formatInstant(secondUs + Math.round(got.atUs)),
      angleDeg: got.angleDeg,
      against: 'utc',
      sigmaDeg: Math.max(got.sigmaDeg, LEAST_SIGMA_DEG),
      voltageV: got.rms * scale,
      frequencyHz: got.frequencyHz,
    };
    return { ok: true, value, reading: got };
  }
}

/** Worst angle error of the estimator itself with 10 % of a harmonic within 2 Hz of nominal: see test/lib/waveform.test.ts. */
const LEAST_SIGMA_DEG = 0.05;

export type SamplesTaken =
  | { readonly ok: true; readonly doc: WaveDocument; readonly samples: ArrayLike<number> }
  | { readonly ok: false; readonly problems: readonly Problem[] };

/** The document, checked, and its samples. @param bytes stand in for `samples` of the document */
export function takeSamples(given: unknown, bytes?: Uint8Array): SamplesTaken {
  const value = bytes && isRecord(given) ? { ...given, samples: '' } : given;
  const problems = problemsAgainst(WaveDocument, value);
  if (problems.length > 0) return { ok: false, problems };
  const doc = value as WaveDocument;
  const samples = samplesOf(doc, bytes);
  return 'code' in samples ? { ok: false, problems: [samples] } : { ok: true, doc, samples };
}

function samplesOf(doc: WaveDocument, given: Uint8Array | undefined): ArrayLike<number> | Problem {
  if (!given && typeof doc.samples !== 'string') return doc.samples as number[];
  if (!doc.format)
    return problem('/format', 'format-missing', 'binary samples without format', SAMPLE_FORMATS.join(', '));
  const bytes = given ?? bytesOfBase64(doc.samples as string);
  if (!bytes) return problem('/samples', 'base64-wrong', 'the text is not base64', 'base64 of RFC 4648');
  const whole = `whole samples of ${doc.format}`;
  return samplesOfBytes(bytes, doc.format) ?? problem('/samples', 'bytes-wrong', `${bytes.length} bytes`, whole);
}

/** Samples of one terminal and instrument belong together. */
export const channelOf = (doc: WaveDocument): string => {
  const id = (doc as { instrument?: { id?: unknown } | null }).instrument?.id;
  return `${doc.terminal} ${typeof id === 'string' ? id : ''}`;
};

const problem = (at: string, code: string, what: string, expected: string): Problem => ({ at, code, what, expected });

/** @param code of a `WaveRefusal` */
export const refusedSamples = (code: string, why: string): WaveRead => ({
  ok: false,
  problems: [problem('/samples', code, why, RIGHT[code] ?? '')],
});

const isRecord = (value: unknown): value is Record<string, unknown> => typeof value === 'object' && value !== null;
