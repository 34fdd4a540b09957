/** Bytes to frames and back. */
import { Fault, Reader, Writer } from './bytes';
import { encodeConfig, readConfig } from './config';
import { encodeData, readData } from './data';
import { checkedType, readHead, sealed, writeHead } from './head';
import type { CommandFrame, ConfigFrame, Decoded, Frame37118, HeaderFrame } from './types';

/**
 * The frame that these bytes are, the whole of them, or why they are none. Never throws on bytes.
 * @param config the configuration in force; data frames cannot be read without it
 */
export function decodeFrame(bytes: Uint8Array, config?: ConfigFrame): Decoded<Frame37118> {
  try {
    return { ok: true, frame: read(bytes, config) };
  } catch (cause) {
    if (cause instanceof Fault) return { ok: false, problem: cause.problem };
    throw cause;
  }
}

function read(bytes: Uint8Array, config: ConfigFrame | undefined): Frame37118 {
  const type = checkedType(bytes);
  if (type === 'data' && config) return readData(bytes, config);
  const reader = new Reader(bytes, 4, bytes.length - 2);
  if (type === 'command') return readCommand(reader);
  if (type === 'header') return readHeader(reader);
  if (type !== 'data') return readConfig(reader, type);
  throw new Fault(
    '',
    'configuration-missing',
    'a data frame came before any configuration',
    'a configuration frame first',
  );
}

function readCommand(reader: Reader): CommandFrame {
  const head = readHead(reader);
  const command = reader.u16('/command');
  return { type: 'command', ...head, command, extended: reader.slice(reader.left, '/extended') };
}

function readHeader(reader: Reader): HeaderFrame {
  const head = readHead(reader);
  const text = reader.slice(reader.left, '/text');
  const strange = text.findIndex((b) => b > 0x7e || (b < 0x20 && b !== 0 && (b < 9 || b > 13)));
  if (strange >= 0) {
    throw new Fault(
      '/text',
      'header-not-text',
      `byte ${strange} of the text is 0x${text[strange]!.toString(16)}`,
      'ASCII',
    );
  }
  return { type: 'header', ...head, text: ASCII.decode(text) };
}

const ASCII = new TextDecoder();

/**
 * @param config needed for data frames
 * @throws RangeError when the frame cannot be written: a name too long, channels that are not those of the configuration
 */
export function encodeFrame(frame: Frame37118, config?: ConfigFrame): Uint8Array {
  if (frame.type === 'data') {
    if (!config) throw new RangeError('encodeFrame: a data frame needs its configuration');
    return encodeData(frame, config);
  }
  if (frame.type !== 'command' && frame.type !== 'header') return encodeConfig(frame);
  const writer = new Writer();
  writeHead(writer, frame.type, frame);
  if (frame.type === 'command') {
    writer.u16(frame.command);
    writer.raw(frame.extended);
  } else {
    writer.raw(Uint8Array.from(frame.text, (c) => c.charCodeAt(0)));
  }
  return sealed(writer);
}
