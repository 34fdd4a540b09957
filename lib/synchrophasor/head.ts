/** The head and tail of every frame: SYNC, FRAMESIZE, IDCODE, SOC, FRACSEC and CHK. */
import { Fault, type Reader, type Writer } from './bytes';
import { crcCcitt } from './crc';
import type { Frame37118, FrameTime, Head } from './types';

export const SYNC = 0xaa;
export const HEAD_BYTES = 14;
/** head and check word */
export const LEAST_BYTES = HEAD_BYTES + 2;
export const MOST_BYTES = 0xffff;

/** Frame types by bits 6 to 4 of SYNC. */
export const TYPES = ['data', 'header', 'config-1', 'config-2', 'command', 'config-3'] as const;

/** Type of the frame that begins at `at`, or undefined when SYNC is not one of the standard's. */
export function typeAt(bytes: Uint8Array, at = 0): Frame37118['type'] | undefined {
  const second = bytes[at + 1] ?? 0x80;
  const version = second & 0x0f;
  if (bytes[at] !== SYNC || second & 0x80 || version < 1 || version > 2) return undefined;
  return TYPES[second >> 4];
}

/** Type of a frame whose size and check word hold. @throws Fault */
export function checkedType(bytes: Uint8Array): Frame37118['type'] {
  if (bytes.length < LEAST_BYTES) {
    throw new Fault('', 'frame-too-short', `${bytes.length} bytes came`, `at least ${LEAST_BYTES} bytes`);
  }
  const type = typeAt(bytes);
  if (!type) {
    const got = `0x${bytes[0]!.toString(16)} 0x${bytes[1]!.toString(16)}`;
    throw new Fault(
      '/sync',
      'sync-unknown',
      `the frame begins with ${got}`,
      '0xAA and a frame type with version 1 or 2',
    );
  }
  const size = (bytes[2]! << 8) | bytes[3]!;
  if (size !== bytes.length) {
    throw new Fault(
      '/frameSize',
      'size-wrong',
      `FRAMESIZE is ${size}; ${bytes.length} bytes came`,
      'the length of the frame',
    );
  }
  checkCrc(bytes, size - 2);
  return type;
}

function checkCrc(bytes: Uint8Array, end: number): void {
  const got = (bytes[end]! << 8) | bytes[end + 1]!;
  const right = crcCcitt(bytes, 0, end);
  if (got !== right)
    throw new Fault('/chk', 'crc-wrong', `CHK is ${got}`, `${right}, the CRC-CCITT of the bytes before it`);
}

export function readHead(reader: Reader): Head {
  const version = reader.bytes[1]! & 0x0f;
  reader.at = 4;
  const idCode = reader.u16('/idCode');
  const soc = reader.u32('/soc');
  const fracsec = reader.u32('/fracSec');
  return { version, idCode, time: { soc, fraction: fracsec & 0xffffff, quality: fracsec >>> 24 } };
}

export function writeHead(writer: Writer, type: Frame37118['type'], { version, idCode, time }: Head): void {
  writer.u8(SYNC);
  writer.u8((TYPES.indexOf(type) << 4) | version);
  writer.u16(0);
  writer.u16(idCode);
  writer.u32(time.soc);
  writer.u32(((time.quality << 24) | (time.fraction & 0xffffff)) >>> 0);
}

/** Fills in FRAMESIZE and adds CHK. @throws RangeError when the frame is longer than FRAMESIZE can say */
export function sealed(writer: Writer): Uint8Array {
  writer.u16(0);
  const bytes = writer.done();
  if (bytes.length > MOST_BYTES) throw new RangeError(`a frame of ${bytes.length} bytes is longer than ${MOST_BYTES}`);
  const view = new DataView(bytes.buffer);
  view.setUint16(2, bytes.length);
  view.setUint16(bytes.length - 2, crcCcitt(bytes, 0, bytes.length - 2));
  return bytes;
}

/**
 * Microseconds since the epoch; the fraction of a second is rounded to the microsecond.
 * @param timeBase ticks a second, from the configuration
 * @example instantUs({ soc: 10, fraction: 250, quality: 0 }, 1000) // 10250000
 */
export const instantUs = ({ soc, fraction }: FrameTime, timeBase: number): number =>
  soc * 1e6 + Math.round((fraction / timeBase) * 1e6);

/** SOC and FRACSEC of an instant. @param us whole microseconds since the epoch */
export function frameTime(us: number, timeBase: number, quality = 0): FrameTime {
  const soc = Math.floor(us / 1e6);
  const fraction = Math.round(((us - soc * 1e6) * timeBase) / 1e6);
  return fraction === timeBase ? { soc: soc + 1, fraction: 0, quality } : { soc, fraction, quality };
}
