import assert from 'node:assert/strict';
import fc from 'fast-check';
import {
  parseReading,
  readComtradeConfig,
  readComtradeData,
  recordingWindows,
  singleFileWindows,
  splitSingleFile,
  stretchesOf,
  WaveReader,
} from '../../lib';

// Layouts are from memory of IEEE C37.111-2013 and its earlier revisions. A cosine of 100 V peak that peaks at the whole second, 50 Hz.
const TURN = 2 * Math.PI * 50;
const volts = (s: number) => Math.round(20_000 * Math.cos(TURN * s));
interface Kind {
  head?: string;
  analog?: string;
  rates?: string;
  first?: string;
  end?: string;
  form?: string;
}
const cfg = ({
  head = 'bank,R-1,2013',
  analog = '1,VA,A,,V,0.005,0,0,-32767,32767,1,1,P',
  rates = '1\n3200,640',
  first = '04/05/2026,10:15:30.000000',
  end = '1\n0,0\n0,0',
  form = 'ASCII',
}: Kind = {}) => `${head}\n1,1A,0D\n${analog}\n50\n${rates}\n${first}\n${first}\n${form}\n${end}\n`;
const rowsAt = (times: readonly number[], stamp = (s: number) => Math.round(s * 1e6)) =>
  times.map((s, k) => `${k + 1},${stamp(s)},${volts(s)}`).join('\n');
const evenly = (count: number, rateHz: number, from = 0) => Array.from({ length: count }, (_, k) => from + k / rateHz);

const rule = { terminals: { VA: 'bank/1' } };
function readings(got: ReturnType<typeof recordingWindows>) {
  assert.ok(got.ok, JSON.stringify(got));
  const reader = new WaveReader(50);
  return got.windows.map((w) => {
    const made = reader.read(w);
    assert.ok(made.ok, JSON.stringify(made));
    const parsed = parseReading(made.value);
    assert.ok(parsed.ok, JSON.stringify(parsed));
    return parsed.reading;
  });
}
const upright = (got: ReturnType<typeof recordingWindows>, count: number) => {
  const all = readings(got);
  assert.equal(all.length, count);
  for (const r of all) {
    assert.ok(Math.abs(r.angleDeg!) < 0.05, `${r.takenAt} ${r.angleDeg}`);
    assert.ok(Math.abs(r.voltageV! - 100 / Math.SQRT2) < 0.05);
    assert.ok(Math.abs(r.frequencyHz! - 50) < 0.005, `${r.frequencyHz}`);
  }
  return all;
};

describe('kinds of recordings of IEEE C37.111', () => {
  it('several sampling rates, one after the other', () => {
    const times = [
      ...evenly(800, 4000),
      ...evenly(640, 6400, 799 / 4000 + 1 / 6400),
      ...evenly(400, 4000, 799 / 4000 + 640 / 6400 + 1 / 4000),
    ];
    const config = cfg({ rates: '3\n4000,800\n6400,1440\n4000,1840' });
    const all = upright(recordingWindows(config, rowsAt(times), rule), 4);
    assert.deepEqual(
      all.map((r) => r.takenAt.slice(20, 26)),
      ['049875', '149875', '249828', '349875'],
    );
  });

  it('time stamps only, rounded to the microsecond, with a stretch left out', () => {
    const times = [...evenly(700, 3200), ...evenly(400, 3200, 0.3)];
    const config = cfg({ rates: '0\n0,1100' });
    upright(recordingWindows(config, rowsAt(times), rule), 3);
    const got = recordingWindows(config, rowsAt(times).replace('\n9,2500,', '\n9,,'), rule);
    assert.ok(!got.ok && got.problems[0]!.code === 'stamp-missing' && got.problems[0]!.at === '/dat/9/2');
  });

  it('time stamps in other units: the multiplier, and nanoseconds where the first time has nine digits', () => {
    const rates = '0\n0,640';
    const tens = rowsAt(evenly(640, 3200), (s) => Math.round(s * 1e5));
    upright(recordingWindows(cfg({ rates, end: '10\n0,0\n0,0' }), tens, rule), 2);
    const nanos = rowsAt(evenly(640, 3200), (s) => Math.round(s * 1e9));
    upright(recordingWindows(cfg({ rates, first: '04/05/2026,10:15:30.000000000' }), nanos, rule), 2);
  });

  it('the revision of 1991: month first, two digits of the year, no side, no quality', () => {
    const old = {
      head: 'bank,R-1',
      analog: '1,VA,A,,V,0.005,0,0,-32767,32767',
      first: '05/04/03,10:15:30.000000',
      end: '',
    };
    const got = recordingWindows(cfg(old), rowsAt(evenly(640, 3200)), { ...rule, offsetMin: 0 });
    const [first] = upright(got, 2);
    assert.equal(first!.takenAt.slice(0, 19), '2003-05-04T10:15:30');
    assert.equal(first!.clock, undefined);
    assert.match(first!.note!, /primary or secondary/);
    const year = readComtradeConfig(cfg({ ...old, first: '05/04/98,10:15:30.000000' }));
    assert.ok(year.ok && new Date(year.config.firstUs / 1000).toISOString() === '1998-05-04T10:15:30.000Z');
    const scaled = readings(
      recordingWindows(cfg(old), rowsAt(evenly(640, 3200)), { ...rule, offsetMin: 0, ratio: 200 }),
    );
    assert.ok(Math.abs(scaled[0]!.voltageV! - 20_000 / Math.SQRT2) < 10);
    assert.equal(scaled[0]!.note, undefined);
  });

  it('the revision of 1999: day first, side told, a time multiplier and no quality', () => {
    const kind = { head: 'bank,R-1,1999', end: '1', analog: '1,VA,A,,V,0.000025,0,0,-32767,32767,200,1,S' };
    const [first] = upright(recordingWindows(cfg(kind), rowsAt(evenly(640, 3200)), { ...rule, offsetMin: 0 }), 2);
    assert.equal(first!.takenAt.slice(0, 10), '2026-05-04');
  });

  it('every time quality as a clock (codes of the 2013 revision, from memory)', () => {
    const clock = (quality: string, over: object = {}) =>
      readings(
        recordingWindows(cfg({ end: `1\n0,0\n${quality}` }), rowsAt(evenly(640, 3200)), { ...rule, ...over }),
      )[0]!.clock;
    const errors = ['1', '4', '7', 'A', 'b', 'F'].map((q) => clock(`${q},0`));
    assert.deepEqual(
      errors.map((c) => [c!.locked, c!.errorUs]),
      [
        [false, 0.001],
        [false, 1],
        [false, 1000],
        [false, 1e6],
        [false, 1e7],
        [false, undefined],
      ],
    );
    assert.deepEqual(clock('0,0'), { locked: true });
    assert.deepEqual(clock('0,0', { timeSource: 'gnss', lockedErrorUs: 1 }), {
      source: 'gnss',
      locked: true,
      errorUs: 1,
    });
    assert.deepEqual(clock('0,1'), { locked: false, errorUs: 1e6 }); // a leap second within: seconds may be told one off
    assert.deepEqual(clock('0,3'), { locked: true }); // the recorder cannot tell
  });

  it('a single file, text and binary, with what stands between', () => {
    const dat = rowsAt(evenly(640, 3200));
    const heading = (type: string) => `--- file type: ${type} ---\n`;
    const text = `${heading('CFG')}${cfg()}${heading('INF')}\n${heading('HDR')}told by hand\n${heading('DAT ASCII')}${dat}\n`;
    upright(singleFileWindows(text, rule), 2);
    upright(singleFileWindows(Buffer.from(text.replaceAll('\n', '\r\n')), rule), 2);
    const view = new DataView(new ArrayBuffer(12 * 640));
    for (const [k, s] of evenly(640, 3200).entries()) {
      view.setUint32(12 * k, k + 1, true);
      view.setUint32(12 * k + 4, 0xffffffff, true);
      view.setFloat32(12 * k + 8, volts(s), true);
    }
    const binary = (said: number) =>
      Buffer.concat([
        Buffer.from(`${heading('CFG')}${cfg({ form: 'FLOAT32' })}${heading(`DAT BINARY: ${said}`)}`),
        new Uint8Array(view.buffer),
      ]);
    upright(singleFileWindows(binary(12 * 640), rule), 2);
    const refused = (file: string | Uint8Array) => {
      const got = singleFileWindows(file, rule);
      return got.ok ? 'ok' : `${got.problems[0]!.code}: ${got.problems[0]!.what}`;
    };
    assert.equal(refused(binary(12 * 641)), 'data-wrong: 7680 bytes of data are there');
    assert.equal(refused(dat), 'part-missing: the file has no CFG part');
    assert.equal(refused(heading('CFG') + cfg()), 'part-missing: the file has no DAT part');
  });

  // A single file that goes round among readers of the format (in the samples of python-comtrade, 0677e6b, MIT licence): first rows of 40.
  it('reads a single file made by others: counts, primary amperes, time against UTC, an unlocked clock', () => {
    const file = [
      '--- file type: CFG ---',
      'SMARTSTATION,IED123,2013',
      '8,4A,4D',
      ...['IA ', 'IB ', 'IC ', '3I0'].map(
        (id, k) => `${k + 1},${id},,Line123, A,0.1138916015625,0.05694580078125,0,-32768,32767,933,1,s`,
      ),
      ...['51A', '51B', '51C', '51N'].map((id, k) => `${k + 1},${id},,Line123,0`),
      '60',
      '1',
      '1200,3',
      '12/01/2011,05:55:30.075011',
      '12/01/2011,05:55:30.078261',
      'ASCII',
      '1',
      '-5h30,-5h30',
      'B,3',
      '--- file type: INF ---',
      '',
      '--- file type: HDR ---',
      '',
      '--- file type: DAT ASCII ---',
      '1,72500,-83,68,7,-8,0,0,0,0',
      '2,73333,-15,5,4,-6,0,0,0,0',
      '3,74167,55,-53,0,2,0,0,0,0',
      '',
    ].join('\n');
    const parts = splitSingleFile(file);
    assert.ok(parts.ok);
    const read = readComtradeConfig(parts.cfg);
    assert.ok(read.ok);
    const { config } = read;
    assert.deepEqual(
      [config.offsetMin, config.timeQuality, config.hasLeapSecond, config.digitals],
      [-330, 11, false, 4],
    );
    assert.equal(new Date(config.firstUs / 1000).toISOString(), '2011-01-12T05:55:30.075Z');
    const data = readComtradeData(config, parts.dat);
    assert.ok(data.ok);
    assert.deepEqual(
      data.counts.map((c) => [...c]),
      [
        [-83, -15, 55],
        [68, 5, -53],
        [7, 4, 0],
        [-8, -6, 2],
      ],
    );
    assert.deepEqual([...data.stamps], [72500, 73333, 74167]);
    const { a, b } = config.analogs[0]!;
    assert.ok(Math.abs(a * -83 + b - 933 * (0.1138916015625 * -83 + 0.05694580078125)) < 1e-9);
    const got = recordingWindows(parts.cfg, parts.dat, { terminals: { IA: 'line/1' } });
    assert.ok(!got.ok && got.problems[0]!.code === 'unit-wrong');
  });

  it('stretches cover the rows in order, whatever the stamps', () => {
    const stamps = fc.array(fc.integer({ min: 0, max: 5000 }), { maxLength: 60 });
    const base = readComtradeConfig(cfg({ rates: '0\n0,0' }));
    assert.ok(base.ok);
    fc.assert(
      fc.property(stamps, (list) => {
        const got = stretchesOf({ ...base.config, rows: list.length }, Float64Array.from(list));
        assert.ok(got.ok);
        let end = 0;
        for (const { from, rows, rateHz } of got.stretches) {
          assert.ok(from >= end && rows >= 2 && rateHz > 0 && from + rows <= list.length);
          end = from + rows;
        }
      }),
      { seed: 37111, numRuns: 500 },
    );
  });

  it('damaged files are read or refused, never anything else', () => {
    const heading = (type: string) => `--- file type: ${type} ---\n`;
    const whole = Buffer.from(
      `${heading('CFG')}${cfg({ rates: '2\n3200,320\n3200,640' })}${heading('DAT ASCII')}${rowsAt(evenly(640, 3200))}`,
    );
    const spots = fc.array(fc.tuple(fc.nat(700), fc.nat(255)), { minLength: 1, maxLength: 4 });
    let refused = 0;
    fc.assert(
      fc.property(spots, fc.boolean(), (list, cut) => {
        const copy = Buffer.from(cut ? whole.subarray(0, whole.length - list[0]![0]) : whole);
        for (const [at, value] of list) copy[at] = value;
        const got = singleFileWindows(copy, { ...rule, offsetMin: 0 });
        if (!got.ok) {
          refused++;
          assert.match(got.problems[0]!.code, /^[a-z-]+$/);
          assert.notEqual(got.problems[0]!.expected, '');
        }
      }),
      { seed: 111, numRuns: 1000 },
    );
    assert.ok(refused > 200 && refused < 1000, `${refused}`);
  });
});
