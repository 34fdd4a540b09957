/** Big-endian reading that never leaves its bounds, and writing that grows. */
import type { Problem } from '../records';

/** Bytes that are not what they say. Stays within this folder: `decodeFrame` turns it into a result. */
export class Fault extends Error {
  constructor(at: string, code: string, what: string, expected: string) {
    super(what);
    this.problem = { at, code, what, expected };
  }
  readonly problem: Problem;
}

const UTF8 = new TextDecoder('utf-8', { fatal: true });

export class Reader {
  private readonly view: DataView;
  constructor(
    readonly bytes: Uint8Array,
    public at: number,
    readonly end: number,
  ) {
    this.view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  }

  get left(): number {
    return this.end - this.at;
  }

  u8(field: string): number {
    return this.view.getUint8(this.take(1, field));
  }

  u16(field: string): number {
    return this.view.getUint16(this.take(2, field));
  }

  i16(field: string): number {
    return this.view.getInt16(this.take(2, field));
  }

  u32(field: string): number {
    return this.view.getUint32(this.take(4, field));
  }

  i32(field: string): number {
    return this.view.getInt32(this.take(4, field));
  }

  f32(field: string): number {
    return this.view.getFloat32(this.take(4, field));
  }

  slice(length: number, field: string): Uint8Array {
    const at = this.take(length, field);
    return this.bytes.slice(at, at + length);
  }

  /** ASCII of 16 bytes, filled up with blanks or zeros. */
  name16(field: string): string {
    const at = this.take(16, field);
    let end = at + 16;
    while (end > at && (this.bytes[end - 1] === 0x20 || this.bytes[end - 1] === 0)) end--;
    let text = '';
    for (let i = at; i < end; i++) text += this.character(this.bytes[i]!, field);
    return text;
  }

  private character(byte: number, field: string): string {
    if (byte < 0x20 || byte > 0x7e) throw notText(field, `byte 0x${byte.toString(16).padStart(2, '0')}`, 'ASCII');
    return String.fromCharCode(byte);
  }

  /** UTF-8 after a byte that says its length. */
  name(field: string): string {
    const length = this.u8(field);
    const bytes = this.slice(length, field);
    let text: string;
    try {
      text = UTF8.decode(bytes);
    } catch {
      throw notText(field, 'a byte sequence that is not UTF-8', 'UTF-8');
    }
    // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
    if (/[\u0000-\u001f\u007f]/.test(text)) throw notText(field, 'a control character', 'UTF-8');
    return text;
  }

  /** Refuses a count before anything is made of it. */
  room(bytes: number, field: string, what: string): void {
    if (bytes > this.left) {
      throw new Fault(
        field,
        'count-exceeds-frame',
        `${what} need ${bytes} bytes; ${this.left} are left`,
        'counts that fit the frame',
      );
    }
  }

  private take(length: number, field: string): number {
    if (length > this.left) {
      throw new Fault(
        field,
        'frame-too-short',
        `${length} bytes are needed; ${this.left} are left`,
        'a frame as long as its counts say',
      );
    }
    const at = this.at;
    this.at += length;
    return at;
  }
}

const notText = (field: string, what: string, form: string) =>
  new Fault(field, 'name-not-text', `the name holds ${what}`, `printable ${form}`);

export class Writer {
  private bytes = new Uint8Array(256);
  private view = new DataView(this.bytes.buffer);
  length = 0;

  u8(x: number): void {
    const at = this.grow(1);
    this.view.setUint8(at, x);
  }

  u16(x: number): void {
    const at = this.grow(2);
    this.view.setUint16(at, x);
  }

  u32(x: number): void {
    const at = this.grow(4);
    this.view.setUint32(at, x);
  }

  f32(x: number): void {
    const at = this.grow(4);
    this.view.setFloat32(at, x);
  }

  raw(bytes: Uint8Array): void {
    const at = this.grow(bytes.length);
    this.bytes.set(bytes, at);
  }

  /** 16 bytes, filled up with blanks. @throws RangeError when the name does not fit */
  name16(name: string): void {
    if (!/^[ -~]{0,16}$/.test(name))
      throw new RangeError(`${JSON.stringify(name)} is not at most 16 characters of ASCII`);
    for (const c of name.padEnd(16)) this.u8(c.charCodeAt(0));
  }

  /** @throws RangeError when the name does not fit */
  name(name: string): void {
    const bytes = new TextEncoder().encode(name);
    if (bytes.length > 255) throw new RangeError(`${JSON.stringify(name)} is longer than 255 bytes`);
    this.u8(bytes.length);
    this.raw(bytes);
  }

  done(): Uint8Array {
    return this.bytes.slice(0, this.length);
  }

  private grow(by: number): number {
    const at = this.length;
    this.length += by;
    if (this.length > this.bytes.length) {
      const wider = new Uint8Array(Math.max(this.length, this.bytes.length * 2));
      wider.set(this.bytes);
      this.bytes = wider;
      this.view = new DataView(wider.buffer);
    }
    return at;
  }
}
