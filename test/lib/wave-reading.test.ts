import assert from 'node:assert/strict';
import { parseReading, WaveReader } from '../../lib';
import { PEAK, sampled, steady } from '../kit/waves';

// The angle of a cosine that peaks at the UTC second is 0 (IEC/IEEE 60255-118-1, definition of the synchrophasor, from memory).
const LAG = (-120 * Math.PI) / 180;
const volts = Array.from(sampled(steady(50, 0, LAG), 0.25).samples);
const doc = (over: object = {}) => ({
  terminal: 'bank/F1/2',
  rateHz: 3200,
  firstAt: '2026-05-04T10:15:30.25Z',
  samples: volts as unknown,
  instrument: { id: 'W-1' },
  voltageIs: 'phase-to-neutral',
  ...over,
});
const codes = (value: unknown, reader = new WaveReader(50)) => {
  const got = reader.read(value);
  return got.ok ? [] : got.problems.map((p) => p.code);
};

describe('readings from windows of samples', () => {
  it('a window becomes a reading against UTC at its middle', () => {
    const got = new WaveReader(50).read(doc());
    assert.ok(got.ok, JSON.stringify(got));
    const parsed = parseReading(got.value);
    assert.ok(parsed.ok, JSON.stringify(parsed));
    const { reading } = parsed;
    assert.ok(Math.abs((reading.angleDeg as number) + 120) < 1e-6);
    assert.ok(Math.abs((reading.voltageV as number) - PEAK / Math.SQRT2) < 1e-6);
    assert.ok(Math.abs((reading.frequencyHz as number) - 50) < 1e-6);
    assert.equal(reading.against, 'utc');
    assert.equal(reading.takenAt, '2026-05-04T10:15:30.299844Z'); // 159.5 samples of 312.5 us later
    assert.equal(reading.instrument?.id, 'W-1');
    assert.deepEqual(
      Object.keys(reading).filter((k) => ['samples', 'rateHz', 'firstAt', 'format'].includes(k)),
      [],
    );
  });

  it('base64, bytes and a list say the same', () => {
    const counts = Int16Array.from(volts, (x) => Math.round((x / PEAK) * 30_000));
    const bytes = new Uint8Array(counts.buffer);
    const scale = PEAK / 30_000;
    const ways = [
      new WaveReader(50).read(doc({ samples: Array.from(counts), scale })),
      new WaveReader(50).read(doc({ samples: Buffer.from(bytes).toString('base64'), format: 'int16', scale })),
      new WaveReader(50).read(doc({ format: 'int16', scale }), bytes),
    ];
    assert.ok(ways.every((w) => w.ok));
    assert.deepEqual(ways[1], ways[0]);
    assert.deepEqual(ways[2], ways[0]);
  });

  it('what cannot be read says what, where and what would be right', () => {
    assert.deepEqual(codes(doc({ samples: 'AAA=', format: undefined })), ['format-missing']);
    assert.deepEqual(codes(doc({ samples: '***', format: 'int16' })), ['base64-wrong']);
    assert.deepEqual(codes(doc({ samples: 'AAAA', format: 'int16' })), ['bytes-wrong']);
    assert.deepEqual(codes(doc({ samples: [1, 2] })), ['too-short']);
    assert.deepEqual(codes(doc({ lastAt: '2026-05-04T10:15:30.45Z' })), ['gapped']);
    assert.deepEqual(codes(doc({ fullScale: 324 })), ['clipped']);
    assert.deepEqual(codes(doc({ firstAt: 'now' })), ['schema-format']);
    assert.deepEqual(codes(doc({ samples: volts.map((x, k) => (k === 3 ? null : x)) })), ['gapped']);
    for (const junk of [null, 7, 'x', [], {}]) assert.notDeepEqual(codes(junk), []);
  });

  it('a pulse that jumps against the count of samples is refused, and the next one is held against it', () => {
    const reader = new WaveReader(50);
    const later = (us: number, index: number) =>
      codes(
        doc({ index, firstAt: `2026-05-04T10:15:3${Math.floor(us / 1e6)}.${String(us % 1e6).padStart(6, '0')}Z` }),
        reader,
      );
    assert.deepEqual(later(250_000, 0), []);
    assert.deepEqual(later(1_250_000, 3200), []);
    assert.deepEqual(later(2_250_300, 6400), []); // one sample is 312.5 us
    assert.deepEqual(later(3_251_300, 9600), ['pulse-jump']);
    assert.deepEqual(later(4_251_300, 12_800), []);
    assert.deepEqual(later(250_000, 0), []); // began anew
  });
});
