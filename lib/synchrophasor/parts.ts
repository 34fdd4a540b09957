/**
 * CFG-3 in parts: a configuration longer than one frame can say. CONT_IDX is 1 in the first part, counts on, and is 65535 in the last;
 * what follows it in each part is a piece of one configuration (IEEE C37.118.2-2011, 6.4, from memory).
 */
import type { Problem } from '../records';
import { Fault, Reader, Writer } from './bytes';
import { configBody, readConfig } from './config';
import { checkedType, HEAD_BYTES, MOST_BYTES, sealed, writeHead } from './head';
import type { ConfigFrame } from './types';

const LAST_PART = 0xffff;
/** FRAMESIZE to CHK without a piece: head, CONT_IDX, CHK. */
const PART_BYTES = HEAD_BYTES + 4;

/** What a frame was: no part of a series, one of a series that goes on, the last that makes it whole, or one that does not fit. */
export type PartTaken =
  | { readonly is: 'none' }
  | { readonly is: 'part' }
  | { readonly is: 'whole'; readonly frame: ConfigFrame }
  | { readonly is: 'wrong'; readonly problem: Problem };

/** Puts the parts of a configuration together. Holds one series, of `mostBytes` at most. */
export class ConfigParts {
  private pieces: Uint8Array[] = [];
  private bytes = 0;
  private idCode = -1;

  constructor(private readonly mostBytes = 1 << 20) {}

  /** Bytes held of a series that is not whole. */
  get waiting(): number {
    return this.bytes;
  }

  /** A part out of order drops its series; a first part begins anew. @param bytes one frame */
  take(bytes: Uint8Array): PartTaken {
    try {
      if (checkedType(bytes) !== 'config-3' || bytes.length < PART_BYTES) return { is: 'none' };
      const part = word(bytes, HEAD_BYTES);
      return part === 0 ? { is: 'none' } : this.add(bytes, part);
    } catch (cause) {
      this.drop();
      if (cause instanceof Fault) return { is: 'wrong', problem: cause.problem };
      throw cause;
    }
  }

  private add(bytes: Uint8Array, part: number): PartTaken {
    const idCode = word(bytes, 4);
    if (part === 1) {
      this.drop();
      this.idCode = idCode;
    } else this.checkNext(part, idCode);
    const piece = bytes.slice(part === 1 ? 0 : HEAD_BYTES + 2, bytes.length - 2);
    this.bytes += piece.length;
    if (this.bytes > this.mostBytes) throw tooLong(this.mostBytes);
    this.pieces.push(piece);
    return part === LAST_PART ? { is: 'whole', frame: this.whole() } : { is: 'part' };
  }

  private checkNext(part: number, idCode: number): void {
    const next = this.pieces.length + 1;
    if (next === 1) throw outOfOrder(`part ${said(part)} came without a first part`, 'part 1 first');
    if (idCode !== this.idCode)
      throw outOfOrder(`part ${said(part)} is of stream ${idCode}`, `a part of stream ${this.idCode}`);
    if (part !== LAST_PART && part !== next)
      throw outOfOrder(`part ${part} came after part ${next - 1}`, `part ${next}, or the last one`);
  }

  private whole(): ConfigFrame {
    const bytes = new Uint8Array(this.bytes);
    let at = 0;
    for (const piece of this.pieces) {
      bytes.set(piece, at);
      at += piece.length;
    }
    this.drop();
    bytes.fill(0, HEAD_BYTES, HEAD_BYTES + 2);
    return readConfig(new Reader(bytes, 4, bytes.length), 'config-3');
  }

  private drop(): void {
    this.pieces = [];
    this.bytes = 0;
  }
}

const word = (bytes: Uint8Array, at: number): number => (bytes[at]! << 8) | bytes[at + 1]!;
const said = (part: number): string => (part === LAST_PART ? '65535 (the last)' : String(part));

const outOfOrder = (what: string, expected: string) => new Fault('/contIdx', 'config-parts-disordered', what, expected);
const tooLong = (most: number) =>
  new Fault('/contIdx', 'config-parts-too-long', `the parts are longer than ${most} bytes`, 'a shorter configuration');

/**
 * A CFG-3 as frames of at most `mostBytes`: one with CONT_IDX 0 when it fits, else parts.
 * @throws RangeError when a name does not fit its field or a part has no room
 */
export function encodeConfigParts(frame: ConfigFrame, mostBytes = MOST_BYTES): Uint8Array[] {
  if (frame.type !== 'config-3') throw new RangeError(`${frame.type} cannot be sent in parts; only config-3 can`);
  const room = Math.min(mostBytes, MOST_BYTES) - PART_BYTES;
  if (!(room >= 1)) throw new RangeError(`parts of ${mostBytes} bytes have no room; ${PART_BYTES + 1} are the least`);
  const body = configBody(frame);
  const count = Math.ceil(body.length / room);
  if (count >= LAST_PART) throw new RangeError(`${count} parts are more than CONT_IDX can count`);
  return Array.from({ length: count }, (_, k) => {
    const writer = new Writer();
    writeHead(writer, 'config-3', frame);
    writer.u16(count === 1 ? 0 : k + 1 === count ? LAST_PART : k + 1);
    writer.raw(body.subarray(k * room, (k + 1) * room));
    return sealed(writer);
  });
}
