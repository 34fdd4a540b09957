/** Configuration frames: CFG-1 and CFG-2 with names of 16 bytes, CFG-3 with names of any length. */
import { Fault, type Reader, Writer } from './bytes';
import { readHead, sealed, writeHead } from './head';
import type { AnalogChannel, ConfigFrame, DigitalWord, Format, Installation, PhasorChannel, PmuConfig } from './types';

export function readConfig(reader: Reader, type: ConfigFrame['type']): ConfigFrame {
  const head = readHead(reader);
  const isLong = type === 'config-3';
  const part = isLong ? reader.u16('/contIdx') : undefined;
  if (part)
    throw new Fault(
      '/contIdx',
      'config-in-parts',
      `this is part ${part} of a configuration in parts`,
      'all its parts, put together by ConfigParts',
    );
  const timeBase = reader.u32('/timeBase') & 0xffffff;
  if (timeBase === 0) throw new Fault('/timeBase', 'time-base-zero', 'TIME_BASE is 0', 'ticks a second, 1 or more');
  const count = reader.u16('/numPmu');
  if (count === 0) throw new Fault('/numPmu', 'no-pmu', 'NUM_PMU is 0', '1 or more');
  reader.room(count * (isLong ? 54 : 30), '/numPmu', `${count} PMUs`);
  const pmus = Array.from({ length: count }, (_, i) => readPmu(reader, `/pmus/${i}`, isLong));
  const dataRate = reader.i16('/dataRate');
  if (dataRate === 0)
    throw new Fault('/dataRate', 'rate-zero', 'DATA_RATE is 0', 'frames a second, or less than 0 for seconds a frame');
  if (reader.left > 0)
    throw new Fault(
      '',
      'frame-too-long',
      `${reader.left} bytes follow the configuration`,
      'a frame as long as its counts say',
    );
  return { type, ...head, ...(part === undefined ? {} : { part }), timeBase, pmus, dataRate };
}

function readPmu(reader: Reader, at: string, isLong: boolean): PmuConfig {
  const station = isLong ? reader.name(`${at}/station`) : reader.name16(`${at}/station`);
  const idCode = reader.u16(`${at}/idCode`);
  const globalId = isLong ? hex(reader.slice(16, `${at}/globalId`)) : undefined;
  const format = formatOf(reader.u16(`${at}/format`), `${at}/format`);
  const [phasorCount, analogCount, wordCount] = [
    reader.u16(`${at}/phnmr`),
    reader.u16(`${at}/annmr`),
    reader.u16(`${at}/dgnmr`),
  ];
  const channels = phasorCount + analogCount + 16 * wordCount;
  const shortest =
    channels * (isLong ? 1 : 16) + phasorCount * (isLong ? 12 : 4) + analogCount * (isLong ? 8 : 4) + wordCount * 4;
  reader.room(shortest, `${at}/phnmr`, `${phasorCount} phasors, ${analogCount} analogs and ${wordCount} digital words`);
  const names = Array.from({ length: channels }, (_, i) =>
    isLong ? reader.name(`${at}/names/${i}`) : reader.name16(`${at}/names/${i}`),
  );
  const phasors = Array.from({ length: phasorCount }, (_, i) =>
    readPhasorUnit(reader, names[i]!, `${at}/phasors/${i}`, isLong),
  );
  const analogs = Array.from({ length: analogCount }, (_, i) =>
    readAnalogUnit(reader, names[phasorCount + i]!, `${at}/analogs/${i}`, isLong),
  );
  const digitals = Array.from({ length: wordCount }, (_, i): DigitalWord => {
    const from = phasorCount + analogCount + 16 * i;
    return {
      names: names.slice(from, from + 16),
      normal: reader.u16(`${at}/digitals/${i}`),
      valid: reader.u16(`${at}/digitals/${i}`),
    };
  });
  const installation = globalId === undefined ? undefined : readInstallation(reader, globalId, at);
  const nominalHz = reader.u16(`${at}/fnom`) & 1 ? 50 : 60;
  const changes = reader.u16(`${at}/cfgcnt`);
  return {
    station,
    idCode,
    format,
    phasors,
    analogs,
    digitals,
    nominalHz,
    changes,
    ...(installation ? { installation } : {}),
  };
}

function formatOf(bits: number, at: string): Format {
  if (bits > 15) throw new Fault(at, 'format-unknown', `FORMAT is ${bits}`, '0 to 15: bits 4 to 15 have no meaning');
  return {
    isPolar: !!(bits & 1),
    floatPhasors: !!(bits & 2),
    floatAnalogs: !!(bits & 4),
    floatFrequency: !!(bits & 8),
  };
}

const bitsOf = (f: Format): number =>
  (f.isPolar ? 1 : 0) | (f.floatPhasors ? 2 : 0) | (f.floatAnalogs ? 4 : 0) | (f.floatFrequency ? 8 : 0);

function readPhasorUnit(reader: Reader, name: string, at: string, isLong: boolean): PhasorChannel {
  if (!isLong) {
    const word = reader.u32(at);
    return { name, isCurrent: word >>> 24 === 1, unit: word & 0xffffff };
  }
  const flags = reader.u16(at);
  const kind = reader.u8(at);
  const user = reader.u8(at);
  const scale = { flags, component: kind & 7, user, factor: finite(reader, at), angleRad: finite(reader, at) };
  return { name, isCurrent: !!(kind & 8), scale };
}

function readAnalogUnit(reader: Reader, name: string, at: string, isLong: boolean): AnalogChannel {
  if (!isLong) return { name, unit: reader.u32(at) };
  return { name, scale: { factor: finite(reader, at), offset: finite(reader, at) } };
}

function finite(reader: Reader, at: string): number {
  const x = reader.f32(at);
  if (!Number.isFinite(x)) throw new Fault(at, 'scale-not-finite', `a scale is ${x}`, 'a finite number');
  return x;
}

function readInstallation(reader: Reader, globalId: string, at: string): Installation {
  const place = {
    lat: reader.f32(`${at}/lat`),
    lon: reader.f32(`${at}/lon`),
    elevationM: reader.f32(`${at}/elevation`),
  };
  const letter = String.fromCharCode(reader.u8(`${at}/serviceClass`));
  const serviceClass = letter === 'M' || letter === 'P' ? letter : '';
  return {
    globalId,
    ...place,
    serviceClass,
    windowUs: reader.i32(`${at}/window`),
    groupDelayUs: reader.i32(`${at}/groupDelay`),
  };
}

const hex = (bytes: Uint8Array): string => Array.from(bytes, (b) => b.toString(16).padStart(2, '0')).join('');

/** @throws RangeError when a name does not fit its field or the frame is too long */
export function encodeConfig(frame: ConfigFrame): Uint8Array {
  const writer = new Writer();
  writeHead(writer, frame.type, frame);
  if (frame.type === 'config-3') writer.u16(frame.part ?? 0);
  writer.raw(configBody(frame));
  return sealed(writer);
}

/** From TIME_BASE to DATA_RATE. @throws RangeError when a name does not fit its field */
export function configBody(frame: ConfigFrame): Uint8Array {
  const writer = new Writer();
  writer.u32(frame.timeBase);
  writer.u16(frame.pmus.length);
  for (const pmu of frame.pmus) writePmu(writer, pmu, frame.type === 'config-3');
  writer.u16(frame.dataRate);
  return writer.done();
}

function writePmu(writer: Writer, pmu: PmuConfig, isLong: boolean): void {
  const name = (text: string) => (isLong ? writer.name(text) : writer.name16(text));
  name(pmu.station);
  writer.u16(pmu.idCode);
  if (isLong) writer.raw(fromHex(pmu.installation?.globalId ?? ''));
  for (const x of [bitsOf(pmu.format), pmu.phasors.length, pmu.analogs.length, pmu.digitals.length]) writer.u16(x);
  for (const channel of [...pmu.phasors, ...pmu.analogs]) name(channel.name);
  for (const word of pmu.digitals) for (let bit = 0; bit < 16; bit++) name(word.names[bit] ?? '');
  for (const phasor of pmu.phasors) writePhasorUnit(writer, phasor, isLong);
  for (const analog of pmu.analogs) writeAnalogUnit(writer, analog, isLong);
  for (const word of pmu.digitals) {
    writer.u16(word.normal);
    writer.u16(word.valid);
  }
  if (isLong) writeInstallation(writer, pmu.installation);
  writer.u16(pmu.nominalHz === 50 ? 1 : 0);
  writer.u16(pmu.changes);
}

function writePhasorUnit(writer: Writer, { isCurrent, unit = 0, scale }: PhasorChannel, isLong: boolean): void {
  if (!isLong) {
    writer.u32(((isCurrent ? 1 << 24 : 0) | unit) >>> 0);
    return;
  }
  writer.u16(scale?.flags ?? 0);
  writer.u8((isCurrent ? 8 : 0) | (scale?.component ?? 0));
  writer.u8(scale?.user ?? 0);
  writer.f32(scale?.factor ?? 1);
  writer.f32(scale?.angleRad ?? 0);
}

function writeAnalogUnit(writer: Writer, { unit = 0, scale }: AnalogChannel, isLong: boolean): void {
  if (!isLong) {
    writer.u32(unit);
    return;
  }
  writer.f32(scale?.factor ?? 1);
  writer.f32(scale?.offset ?? 0);
}

function writeInstallation(writer: Writer, given: Installation | undefined): void {
  for (const x of [given?.lat, given?.lon, given?.elevationM]) writer.f32(x ?? Number.POSITIVE_INFINITY);
  writer.u8((given?.serviceClass || 'M').charCodeAt(0));
  writer.u32((given?.windowUs ?? 0) >>> 0);
  writer.u32((given?.groupDelayUs ?? 0) >>> 0);
}

const fromHex = (text: string): Uint8Array =>
  Uint8Array.from({ length: 16 }, (_, i) => Number.parseInt(text.slice(2 * i, 2 * i + 2) || '0', 16));
