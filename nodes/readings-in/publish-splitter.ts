/**
 * Takes the messages of quality of service 1 out of the bytes that come from a broker; all else is passed on as it came. A client library
 * takes each packet through a queue, events and callbacks of its own: several times the work of reading it.
 * Layout: MQTT 3.1.1 and MQTT 5.0, sections 2.1 (fixed header, remaining length) and 3.3 (PUBLISH).
 */

export interface Published {
  readonly topic: string;
  readonly payload: Buffer;
  readonly retain: boolean;
  readonly messageId: number;
}

export interface SplitterTargets {
  /** false: no more for now; what follows is kept until split() is called again */
  readonly message: (message: Published) => boolean;
  readonly other: (bytes: Buffer) => void;
}

/** Kind 3 (PUBLISH) with quality of service 1, whether sent again (bit 3), retained (bit 0) or not. */
const KIND = { mask: 0b1111_0110, publish1: 0b0011_0010, retain: 1 } as const;
/** Bytes of a remaining length, at most. */
const MOST_LENGTH_BYTES = 4;

export class PublishSplitter {
  /** of a packet that has not come whole, or that nobody has room for */
  private kept: Buffer[] = [];
  private keptBytes = 0;
  /** how many there must be before it is worth while to look again */
  private wanted = 0;
  /** bytes still to come of a packet that is passed on */
  private passing = 0;

  constructor(
    private readonly hasProperties: boolean,
    private readonly targets: SplitterTargets,
  ) {}

  /** True when everything that is whole was handed on; false when there was no room. */
  split(chunk: Buffer): boolean {
    const bytes = this.joined(chunk);
    for (let at = 0; at < bytes.length; ) {
      const end = this.passing > 0 ? at + this.passing : this.endOf(bytes, at);
      if (end > bytes.length && !this.isPassedOn(bytes, at, end)) {
        this.keep(bytes.subarray(at), end - at);
        return true;
      }
      const hasRoom = this.handOn(bytes, at, Math.min(end, bytes.length));
      this.passing = Math.max(0, end - bytes.length);
      at = end;
      if (!hasRoom) {
        this.keep(bytes.subarray(at), 0);
        return false;
      }
    }
    return true;
  }

  /** What was kept and what has come, or nothing as long as a packet is not whole. */
  private joined(chunk: Buffer): Buffer {
    if (this.keptBytes === 0) return chunk;
    this.keep(chunk, this.wanted);
    if (this.keptBytes < this.wanted) return NOTHING;
    const bytes = Buffer.concat(this.kept);
    this.kept = [];
    this.keptBytes = 0;
    return bytes;
  }

  private keep(bytes: Buffer, wanted: number): void {
    this.wanted = wanted;
    this.keptBytes += bytes.length;
    if (bytes.length > 0) this.kept.push(bytes);
  }

  /** Whether what has come of a packet need not wait for the rest of it. */
  private isPassedOn(bytes: Buffer, at: number, end: number): boolean {
    const isOther = bytes.length - at > MOST_LENGTH_BYTES && !isPublish1(bytes[at]!);
    return this.passing > 0 || isOther || end === Number.POSITIVE_INFINITY;
  }

  private handOn(bytes: Buffer, at: number, end: number): boolean {
    const message = this.passing > 0 ? undefined : this.messageIn(bytes, at, end);
    if (message) return this.targets.message(message);
    this.targets.other(bytes.subarray(at, end));
    return true;
  }

  /** Where the packet that begins here ends; past the end of the bytes while its length has not come whole. */
  private endOf(bytes: Buffer, at: number): number {
    const length = variableInteger(bytes, at + 1);
    if (length === 'cut') return bytes.length + 1;
    // No packet of MQTT: whoever reads the rest will say so.
    return length === 'invalid' ? Number.POSITIVE_INFINITY : length.end + length.value;
  }

  /** Undefined for what is no message of this kind, or not laid out as one: that is the library's to judge. */
  private messageIn(bytes: Buffer, at: number, end: number): Published | undefined {
    if (!isPublish1(bytes[at]!)) return undefined;
    const length = variableInteger(bytes, at + 1);
    if (typeof length === 'string' || length.end + 2 > end) return undefined;
    const topicAt = length.end + 2;
    const topicEnd = topicAt + bytes.readUInt16BE(length.end);
    if (topicEnd === topicAt || topicEnd + 2 > end) return undefined;
    const messageId = bytes.readUInt16BE(topicEnd);
    const payloadAt = this.hasProperties ? endOfProperties(bytes, topicEnd + 2) : topicEnd + 2;
    if (messageId === 0 || !(payloadAt <= end)) return undefined;
    const topic = bytes.toString('utf8', topicAt, topicEnd);
    return { topic, payload: bytes.subarray(payloadAt, end), retain: (bytes[at]! & KIND.retain) !== 0, messageId };
  }
}

const NOTHING = Buffer.alloc(0);
const isPublish1 = (first: number): boolean => (first & KIND.mask) === KIND.publish1;

function endOfProperties(bytes: Buffer, at: number): number {
  const length = variableInteger(bytes, at);
  return typeof length === 'string' ? Number.POSITIVE_INFINITY : length.end + length.value;
}

/** Seven bits a byte, the lowest first; the eighth says that more follow. */
function variableInteger(
  bytes: Buffer,
  at: number,
): { readonly value: number; readonly end: number } | 'cut' | 'invalid' {
  let value = 0;
  for (let i = 0; i < MOST_LENGTH_BYTES; i++) {
    const byte = bytes[at + i];
    if (byte === undefined) return 'cut';
    value += (byte & 127) * 128 ** i;
    if (byte < 128) return { value, end: at + i + 1 };
  }
  return 'invalid';
}
