/** Configurations and data of any shape the standard allows, for the tests. */
import fc from 'fast-check';
import {
  type AnalogChannel,
  type ConfigFrame,
  crcCcitt,
  type DataFrame,
  type DigitalWord,
  type Format,
  type FrameTime,
  type PhasorChannel,
  type PmuConfig,
  type PmuData,
} from '../../lib/synchrophasor';

const word = fc.integer({ min: 0, max: 0xffff });
const signed = fc.integer({ min: -0x8000, max: 0x7fff });
const float = fc.float({ noNaN: true, noDefaultInfinity: true }).filter((x) => !Object.is(x, -0));
const ascii = fc.stringMatching(/^([!-~]([ -~]{0,14}[!-~])?)?$/);
const utf8 = fc.string({ unit: 'grapheme', maxLength: 20 }).map((s) => s.replace(/[\p{Cc}\p{Cs}]/gu, ''));

export const time: fc.Arbitrary<FrameTime> = fc.record({
  soc: fc.integer({ min: 0, max: 0xffffffff }),
  fraction: fc.integer({ min: 0, max: 0xffffff }),
  quality: fc.integer({ min: 0, max: 0x7f }),
});
export const head = { version: fc.constantFrom(1, 2), idCode: fc.integer({ min: 1, max: 65534 }), time };

const format: fc.Arbitrary<Format> = fc.record({
  isPolar: fc.boolean(),
  floatPhasors: fc.boolean(),
  floatAnalogs: fc.boolean(),
  floatFrequency: fc.boolean(),
});

function pmu(isLong: boolean): fc.Arbitrary<PmuConfig> {
  const name = isLong ? utf8 : ascii;
  const phasor: fc.Arbitrary<PhasorChannel> = isLong
    ? fc.record({
        name,
        isCurrent: fc.boolean(),
        scale: fc.record({
          flags: word,
          component: fc.integer({ min: 0, max: 7 }),
          user: fc.integer({ min: 0, max: 255 }),
          factor: float,
          angleRad: float,
        }),
      })
    : fc.record({ name, isCurrent: fc.boolean(), unit: fc.integer({ min: 0, max: 0xffffff }) });
  const analog: fc.Arbitrary<AnalogChannel> = isLong
    ? fc.record({ name, scale: fc.record({ factor: float, offset: float }) })
    : fc.record({ name, unit: fc.integer({ min: 0, max: 0xffffffff }) });
  const digital: fc.Arbitrary<DigitalWord> = fc.record({
    names: fc.array(name, { minLength: 16, maxLength: 16 }),
    normal: word,
    valid: word,
  });
  const installation = fc.record({
    globalId: fc.stringMatching(/^[0-9a-f]{32}$/),
    lat: float,
    lon: float,
    elevationM: float,
    serviceClass: fc.constantFrom('M' as const, 'P' as const),
    windowUs: fc.integer({ min: -(2 ** 31), max: 2 ** 31 - 1 }),
    groupDelayUs: fc.integer({ min: -(2 ** 31), max: 2 ** 31 - 1 }),
  });
  return fc.record({
    station: name,
    idCode: word,
    format,
    phasors: fc.array(phasor, { maxLength: 4 }),
    analogs: fc.array(analog, { maxLength: 3 }),
    digitals: fc.array(digital, { maxLength: 2 }),
    nominalHz: fc.constantFrom(50 as const, 60 as const),
    changes: word,
    ...(isLong ? { installation } : {}),
  });
}

const rate = signed.filter((r) => r !== 0);
export const config: fc.Arbitrary<ConfigFrame> = fc.oneof(
  fc.record({
    type: fc.constantFrom('config-1' as const, 'config-2' as const),
    ...head,
    timeBase: fc.integer({ min: 1, max: 0xffffff }),
    pmus: fc.array(pmu(false), { minLength: 1, maxLength: 3 }),
    dataRate: rate,
  }),
  fc.record({
    type: fc.constant('config-3' as const),
    ...head,
    part: fc.constant(0),
    timeBase: fc.integer({ min: 1, max: 0xffffff }),
    pmus: fc.array(pmu(true), { minLength: 1, maxLength: 3 }),
    dataRate: rate,
  }),
);

const list = <T>(item: fc.Arbitrary<T>, length: number) => fc.array(item, { minLength: length, maxLength: length });

function dataOf({ format: f, phasors, analogs, digitals }: PmuConfig): fc.Arbitrary<PmuData> {
  const counts = f.isPolar ? fc.tuple(word, signed) : fc.tuple(signed, signed);
  const pair = f.floatPhasors ? fc.tuple(float, float) : counts;
  const frequency = f.floatFrequency ? float : signed;
  return fc.record({
    stat: word,
    phasors: list(pair, phasors.length).map((pairs) => pairs.flat()),
    frequency,
    frequencyRate: frequency,
    analogs: list(f.floatAnalogs ? float : signed, analogs.length),
    digitals: list(word, digitals.length),
  });
}

/** A configuration and a data frame of it. */
export const stream: fc.Arbitrary<{ config: ConfigFrame; data: DataFrame }> = config.chain((c) =>
  fc.record({
    config: fc.constant(c),
    data: fc.record({
      type: fc.constant('data' as const),
      ...head,
      idCode: fc.constant(c.idCode),
      pmus: fc.tuple(...c.pmus.map(dataOf)),
    }),
  }),
);

/** Puts the size and the check word right again after bytes were changed, so that the content is what is judged. */
export function resealed(bytes: Uint8Array): Uint8Array {
  const copy = Uint8Array.from(bytes);
  const view = new DataView(copy.buffer);
  view.setUint16(2, copy.length);
  view.setUint16(copy.length - 2, crcCcitt(copy, 0, copy.length - 2));
  return copy;
}
