/** Held against mqtt-packet, which writes the packets here and reads what is passed on: an MQTT reader and writer made by others. */
import { expect } from 'chai';
import fc from 'fast-check';
import { generate, type Packet, parser } from 'mqtt-packet';
import { type Published, PublishSplitter } from '../../nodes/readings-in/publish-splitter';

type Version = 4 | 5;

const topic = fc.string({ unit: 'grapheme', minLength: 1, maxLength: 30 }).filter((t) => !/[+#\0]/.test(t));
/** Lengths on both sides of where a remaining length takes another byte. */
const payload = fc.oneof(
  fc.uint8Array({ maxLength: 40 }),
  fc.integer({ min: 100, max: 140 }).map((n) => new Uint8Array(n).fill(0x32)),
  fc.integer({ min: 16_300, max: 16_400 }).map((n) => new Uint8Array(n).fill(0x32)),
);
const properties = fc.option(
  fc.record({ userProperties: fc.record({ from: fc.string({ maxLength: 200 }) }), messageExpiryInterval: fc.nat() }),
  { nil: undefined },
);
const publish = fc
  .record({
    topic,
    payload,
    properties,
    qos: fc.constantFrom(0 as const, 1 as const, 1 as const, 2 as const),
    messageId: fc.integer({ min: 1, max: 65_535 }),
    retain: fc.boolean(),
    dup: fc.boolean(),
  })
  .map((p): Packet => ({ cmd: 'publish', ...p, payload: Buffer.from(p.payload), dup: p.qos > 0 && p.dup }) as Packet);
const other = fc.constantFrom<Packet>(
  { cmd: 'pingresp' },
  { cmd: 'puback', messageId: 7 },
  { cmd: 'pubrel', messageId: 8 },
  { cmd: 'suback', messageId: 9, granted: [1] },
);
const cuts = fc.array(fc.integer({ min: 1, max: 3000 }), { minLength: 1, maxLength: 30 });

function* chunksOf(bytes: Buffer, sizes: readonly number[]): Generator<Buffer> {
  for (let at = 0, i = 0; at < bytes.length; i++) {
    const end = at + sizes[i % sizes.length]!;
    yield bytes.subarray(at, end);
    at = end;
  }
}

function read(bytes: Buffer, protocolVersion: Version): Packet[] {
  const found: Packet[] = [];
  const reader = parser({ protocolVersion });
  reader.on('packet', (packet) => found.push(packet));
  reader.on('error', (error) => {
    throw error;
  });
  reader.parse(bytes);
  return found;
}

const isQos1 = (packet: Packet) => packet.cmd === 'publish' && packet.qos === 1;
const published = (packet: Packet): Published => {
  const { topic, payload, retain, messageId } = packet as Extract<Packet, { cmd: 'publish' }>;
  return { topic, payload: payload as Buffer, retain, messageId: messageId! };
};

describe('messages out of the stream of a broker', () => {
  for (const version of [4, 5] as const) {
    it(`come as mqtt-packet reads them, and all else is passed on, however it is cut (MQTT ${version}, property, 300 cases)`, () => {
      fc.assert(
        fc.property(fc.array(fc.oneof(publish, publish, other), { maxLength: 12 }), cuts, (packets, sizes) => {
          const bytes = Buffer.concat(packets.map((p) => generate(p, { protocolVersion: version })));
          const messages: Published[] = [];
          const rest: Buffer[] = [];
          const splitter = new PublishSplitter(version === 5, {
            message: (message) => messages.push(message) > 0,
            other: (part) => rest.push(part),
          });
          for (const chunk of chunksOf(bytes, sizes)) expect(splitter.split(chunk)).to.equal(true);
          const all = read(bytes, version);
          expect(messages).to.deep.equal(all.filter(isQos1).map(published));
          expect(read(Buffer.concat(rest), version)).to.deep.equal(all.filter((p) => !isQos1(p)));
        }),
        { seed: 3, numRuns: 300 },
      );
    });
  }

  it('stop after any of them when there is no room, and go on where they stopped (property, 200 cases)', () => {
    fc.assert(
      fc.property(
        fc.array(fc.oneof(publish, other), { maxLength: 12 }),
        cuts,
        fc.array(fc.boolean()),
        (packets, sizes, room) => {
          const bytes = Buffer.concat(packets.map((p) => generate(p, { protocolVersion: 5 })));
          const messages: Published[] = [];
          const rest: Buffer[] = [];
          const splitter = new PublishSplitter(true, {
            message: (message) => room[messages.push(message) - 1] ?? true,
            other: (part) => rest.push(part),
          });
          for (const chunk of chunksOf(bytes, sizes)) {
            const before = messages.length;
            let went = splitter.split(chunk);
            const refused = room.slice(before, messages.length).includes(false);
            expect(went).to.equal(!refused);
            while (!went) went = splitter.split(Buffer.alloc(0));
          }
          const all = read(bytes, 5);
          expect(messages).to.deep.equal(all.filter(isQos1).map(published));
          expect(read(Buffer.concat(rest), 5)).to.deep.equal(all.filter((p) => !isQos1(p)));
        },
      ),
      { seed: 4, numRuns: 200 },
    );
  });

  it('that are laid out wrong are left to the library, and so is what is no MQTT at all', () => {
    const hostile: Record<string, number[]> = {
      'a topic past the end': [0x32, 5, 0, 9, 0x61, 0, 1],
      'no packet identifier': [0x32, 3, 0, 1, 0x61],
      'the packet identifier 0': [0x32, 5, 0, 1, 0x61, 0, 0],
      'no topic': [0x32, 4, 0, 0, 0, 1],
      'properties past the end': [0x32, 6, 0, 1, 0x61, 0, 1, 9],
      'no properties': [0x32, 5, 0, 1, 0x61, 0, 1],
      'nothing at all': [0x32, 0],
      'a length that does not end': [0x32, 0xff, 0xff, 0xff, 0xff, 0xff, 1, 2, 3],
    };
    for (const [what, bytes] of Object.entries(hostile)) {
      for (const size of [1, 2, 100]) {
        const rest: Buffer[] = [];
        const splitter = new PublishSplitter(true, {
          message: () => expect.fail(what),
          other: (part) => rest.push(part),
        });
        for (const chunk of chunksOf(Buffer.from(bytes), [size])) splitter.split(chunk);
        expect([...Buffer.concat(rest)], what).to.deep.equal(bytes);
      }
    }
  });

  it('of 10 MB in pieces are put together once, not with every piece', () => {
    const large = generate({
      cmd: 'publish',
      topic: 't',
      payload: Buffer.alloc(10e6, 1),
      qos: 1,
      messageId: 1,
      dup: false,
      retain: false,
    });
    const concat = Buffer.concat;
    let joined = 0;
    Buffer.concat = (...args) => {
      joined++;
      return concat(...args);
    };
    let came = 0;
    try {
      const splitter = new PublishSplitter(false, {
        message: ({ payload: { length } }) => {
          came = length;
          return true;
        },
        other: () => expect.fail('passed on'),
      });
      for (const chunk of chunksOf(large, [65_536])) splitter.split(chunk);
    } finally {
      Buffer.concat = concat;
    }
    expect([came, joined]).to.deep.equal([10e6, 1]);
  });
});
