/**
 * Cuts a byte stream into frames. Bytes between frames are passed over and told of; a lying FRAMESIZE holds
 * the stream up until so many bytes have come, and costs its own frame only.
 */
import type { Problem } from '../records';
import { crcCcitt } from './crc';
import { LEAST_BYTES, SYNC, typeAt } from './head';

export type Cut = { readonly frame: Uint8Array } | { readonly problem: Problem; readonly bytes: Uint8Array };

export class FrameSplitter {
  private held: Uint8Array = new Uint8Array(0);

  /** Bytes that wait for the rest of their frame; fewer than 65 536. */
  get waiting(): number {
    return this.held.length;
  }

  /** Frames that these bytes complete, in order; each is a copy. Their check words hold. */
  push(chunk: Uint8Array): Cut[] {
    const bytes = joined(this.held, chunk);
    const cuts: Cut[] = [];
    let strayFrom = 0;
    let at = 0;
    let effort = 0;
    while (at < bytes.length) {
      const size = sizeAt(bytes, at);
      if (size === 'more') break;
      if (size === undefined || size < 0) {
        effort -= size ?? 0;
        if (effort > EFFORT * bytes.length) {
          at = bytes.length;
          break;
        }
        at = nextSync(bytes, at + 1);
        continue;
      }
      if (strayFrom < at) cuts.push(stray(bytes.slice(strayFrom, at)));
      cuts.push({ frame: bytes.slice(at, at + size) });
      at += size;
      strayFrom = at;
    }
    if (strayFrom < at) cuts.push(stray(bytes.slice(strayFrom, at)));
    this.held = bytes.slice(at);
    return cuts;
  }
}

function joined(held: Uint8Array, chunk: Uint8Array): Uint8Array {
  if (held.length === 0) return chunk;
  const bytes = new Uint8Array(held.length + chunk.length);
  bytes.set(held);
  bytes.set(chunk, held.length);
  return bytes;
}

/** Bytes that look like many frames, none of them true, are given up after this many check sums a byte. */
const EFFORT = 16;

/** Length of the frame at a place, less than 0 when its check word is wrong; undefined: none; 'more': too little has come to tell. */
function sizeAt(bytes: Uint8Array, at: number): number | 'more' | undefined {
  if (bytes[at] !== SYNC) return undefined;
  const left = bytes.length - at;
  if (left >= 2 && !typeAt(bytes, at)) return undefined;
  if (left < 4) return 'more';
  const size = (bytes[at + 2]! << 8) | bytes[at + 3]!;
  if (size < LEAST_BYTES) return undefined;
  if (size > left) return 'more';
  const end = at + size - 2;
  return crcCcitt(bytes, at, end) === ((bytes[end]! << 8) | bytes[end + 1]!) ? size : -size;
}

function nextSync(bytes: Uint8Array, from: number): number {
  const at = bytes.indexOf(SYNC, from);
  return at < 0 ? bytes.length : at;
}

const stray = (bytes: Uint8Array): Cut => ({
  bytes,
  problem: {
    at: '',
    code: 'bytes-between-frames',
    what: `${bytes.length} bytes are no frame`,
    expected: 'frames that begin with 0xAA, one after the other, each with a true FRAMESIZE and CHK',
  },
});
