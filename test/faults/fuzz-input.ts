/** Hostile input from a seed: sound documents that were damaged, and values that no instrument sends. */
import { seeded } from './scale';

const NASTY = [
  '',
  ' ',
  '\0',
  '\u0000',
  '\ufeff',
  '\ud800',
  '\udfff',
  '‮',
  '\n',
  '\r\n',
  '\t',
  '"',
  "'",
  '\\',
  '\\u0000',
  '\\ud800',
  '{',
  '}',
  '[',
  ']',
  ',',
  ':',
  ';',
  '__proto__',
  'constructor',
  'prototype',
  'toString',
  'null',
  'true',
  'NaN',
  'Infinity',
  '-0',
  '1e999',
  '-1e999',
  '1e-999',
  '9007199254740993',
  '0x10',
  '١٢',
  '1,5',
  '2026-05-04T10:15:30Z',
  '2026-02-30T10:15:30Z',
  '9999-12-31T23:59:60Z',
  '0000-01-01T00:00:00Z',
  '+275760-09-13T00:00:00Z',
  '2026-05-04T24:00:00Z',
  '=1+1',
  '%s',
  '{HOME}',
  '../../etc/passwd',
  "'; drop table reading; --",
  '<script>',
  '/',
  '//',
  '~1',
  '🙂',
  'ß',
  'terminal',
  'angleDeg',
  'takenAt',
  'against',
  'utc',
  '-----',
  '[[[[[[[[[[[[[[[[[[[[',
  '{"a":{"a":{"a":{"a":',
];
const NAMES = [
  'terminal',
  'takenAt',
  'angleDeg',
  'against',
  'voltageV',
  'voltageIs',
  'clock',
  'instrument',
  'position',
  'by',
  'id',
  'kind',
  'x',
];

export class Hostile {
  private readonly chance: () => number;

  constructor(seed: number) {
    this.chance = seeded(seed);
  }

  below(n: number): number {
    return Math.floor(this.chance() * n);
  }

  pick<T>(items: readonly T[]): T {
    return items[this.below(items.length)]!;
  }

  /** The text with up to eight injuries: bits turned, parts gone, doubled, moved, or something nasty put in. */
  damaged(text: string): string {
    let hurt = text;
    for (let n = 1 + this.below(8); n > 0; n--) hurt = this.injured(hurt);
    return hurt;
  }

  /** The same as bytes, now and then no longer UTF-8. */
  bytes(text: string): Buffer {
    const bytes = Buffer.from(this.damaged(text));
    if (bytes.length > 0 && this.below(5) === 0) {
      const at = this.below(bytes.length);
      bytes[at] = bytes[at]! ^ (1 << this.below(8));
    }
    return this.below(50) === 0 ? Buffer.from(bytes.toString(), 'utf16le') : bytes;
  }

  /** Binary data with up to eight injuries: bits turned, bytes gone, doubled, put in, or the end cut off. */
  broken(bytes: Uint8Array): Uint8Array {
    let hurt = Buffer.from(bytes);
    for (let n = 1 + this.below(8); n > 0; n--) {
      const at = this.below(hurt.length + 1);
      const to = at + this.below(Math.min(20, hurt.length - at + 1));
      const kind = this.below(5);
      if (kind === 0) hurt = Buffer.concat([hurt.subarray(0, at), hurt.subarray(to)]);
      else if (kind === 1) hurt = Buffer.concat([hurt.subarray(0, to), hurt.subarray(at)]);
      else if (kind === 2) hurt = Buffer.concat([hurt.subarray(0, at), this.noise(), hurt.subarray(at)]);
      else if (kind === 3 && this.below(4) === 0) hurt = hurt.subarray(0, at);
      else if (at < hurt.length) hurt[at] = this.pick([hurt[at]! ^ (1 << this.below(8)), 0, 0xff, 0x7f, 0x80]);
    }
    return hurt;
  }

  private noise(): Buffer {
    return Buffer.from(Array.from({ length: this.below(12) }, () => this.below(256)));
  }

  /** A value as JSON could give it, and sometimes as only JavaScript could. */
  value(depth = 0): unknown {
    const kind = this.below(depth > 5 ? 9 : 14);
    if (kind < 3) return this.pick(NASTY);
    if (kind === 3)
      return this.pick([
        0,
        -0,
        1,
        -180,
        180,
        360,
        1e308,
        -1e308,
        5e-324,
        2 ** 53,
        Number.NaN,
        Number.POSITIVE_INFINITY,
      ]);
    if (kind === 4) return this.chance() * 1e6 - 5e5;
    if (kind === 5) return this.pick([true, false, null, undefined]);
    if (kind === 6) return this.pick(NASTY).repeat(this.below(300));
    if (kind === 7)
      return this.pick([() => 1, Symbol('s'), 10n, new Date(Number.NaN), /x/, new Map(), Buffer.from('x')]);
    if (kind === 8) return [];
    if (kind < 11) return Array.from({ length: this.below(6) }, () => this.value(depth + 1));
    return this.object(depth);
  }

  /** Something with the members of a sound reading, some of them replaced. */
  almost(sound: object): Record<string, unknown> {
    const made: Record<string, unknown> = { ...sound };
    for (let n = 1 + this.below(3); n > 0; n--) {
      const name = this.pick([...Object.keys(sound), ...NAMES]);
      if (this.below(4) === 0) delete made[name];
      else made[name] = this.value(1);
    }
    return made;
  }

  private object(depth: number): object {
    const made = this.below(10) === 0 ? Object.create(null) : {};
    for (let n = this.below(6); n > 0; n--) {
      const name = this.below(2) === 0 ? this.pick(NAMES) : this.pick(NASTY);
      Object.defineProperty(made, name, {
        value: this.value(depth + 1),
        enumerable: true,
        configurable: true,
        writable: true,
      });
    }
    return made;
  }

  private injured(text: string): string {
    const at = this.below(text.length + 1);
    const to = at + this.below(Math.min(20, text.length - at + 1));
    switch (this.below(6)) {
      case 0:
        return text.slice(0, at) + text.slice(to);
      case 1:
        return text.slice(0, to) + text.slice(at);
      case 2:
        return text.slice(0, at) + this.pick(NASTY) + text.slice(at);
      case 3:
        return text.slice(0, at) + this.pick(NASTY) + text.slice(to);
      case 4:
        return text.slice(0, at) + String.fromCharCode(this.below(0x300)) + text.slice(at + 1);
      default: {
        const digit = text.slice(at).search(/\d/);
        return digit < 0
          ? text
          : text.slice(0, at + digit) + this.pick(['', '-', '9'.repeat(400), 'e9', '.']) + text.slice(at + digit + 1);
      }
    }
  }
}
