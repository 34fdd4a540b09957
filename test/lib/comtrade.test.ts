import assert from 'node:assert/strict';
import { clockErrorUs, type Problem, parseReading, recordingWindows, WaveReader, waveEstimator } from '../../lib';

// Files made by hand from IEEE C37.111-2013, from memory: configuration lines in their order, data rows in four forms.
const RATE = 3200;
const ROWS = 640;
const KV = 20 / Math.sqrt(3);
const count = (row: number, deg: number) =>
  Math.round(20_000 * Math.cos((2 * Math.PI * 50 * row) / RATE + (deg * Math.PI) / 180));
const A = (KV * Math.SQRT2) / 20_000;

interface Over {
  form?: string;
  year?: string;
  ps?: string;
  clock?: string;
  max?: number;
}
/** 20 kV system, two voltages; the first row is at 10:15:30.100 UTC, told in local time two hours ahead. */
function cfg({
  form = 'ASCII',
  year = '2013',
  ps = 'P',
  clock = '+2h00,+2h00\r\n0,0',
  max = 32767,
}: Over = {}): string {
  const a = ps === 'S' ? A / 200 : A;
  return [
    `Hollin bank,R-1,${year}`,
    '4,2A,2D',
    `1,VA,A,,kV,${a},0,0,-32767,${max},200,1,${ps}`,
    `2,VB,B,,kV,${a},0,0,-32767,${max},200,1,${ps}`,
    '1,trip,,,0',
    '2,close,,,0',
    '50',
    '1',
    `${RATE},${ROWS}`,
    '04/05/2026,12:15:30.100000',
    '04/05/2026,12:15:30.200000',
    form,
    ...(year === '2013' ? ['1', clock] : ['1']),
    '',
  ].join('\r\n');
}

const ascii = (): string =>
  Array.from({ length: ROWS }, (_, k) => `${k + 1},${Math.round(k * 312.5)},${count(k, 0)},${count(k, -120)},0,1`).join(
    '\r\n',
  );

function binary(size: 2 | 4, isFloat = false): Uint8Array {
  const width = 8 + 2 * size + 2;
  const view = new DataView(new ArrayBuffer(width * ROWS));
  for (let k = 0; k < ROWS; k++) {
    view.setUint32(k * width, k + 1, true);
    for (const [c, deg] of [0, -120].entries()) {
      const at = k * width + 8 + c * size;
      if (isFloat) view.setFloat32(at, count(k, deg), true);
      else if (size === 2) view.setInt16(at, count(k, deg), true);
      else view.setInt32(at, count(k, deg), true);
    }
  }
  return new Uint8Array(view.buffer);
}

const terminals = { VA: 'bank/1', VB: 'bank/2' };
const read = (config: string, data: string | Uint8Array, over: object = {}) => {
  const got = recordingWindows(config, data, { terminals, ...over });
  assert.ok(got.ok, JSON.stringify(got));
  const reader = new WaveReader(60);
  return got.windows.map((w) => {
    const made = reader.read(w);
    assert.ok(made.ok, JSON.stringify(made));
    const parsed = parseReading(made.value);
    assert.ok(parsed.ok, JSON.stringify(parsed));
    return parsed.reading;
  });
};
const code = (config: string, data: string | Uint8Array, over: object = {}) => {
  const got = recordingWindows(config, data, { terminals, ...over });
  return got.ok ? 'ok' : got.problems[0]!.code;
};

describe('recordings of IEEE C37.111', () => {
  it('every data form gives the same readings against UTC, in primary volts', () => {
    const ways = [
      read(cfg(), ascii()),
      read(cfg({ form: 'BINARY' }), binary(2)),
      read(cfg({ form: 'BINARY32' }), binary(4)),
      read(cfg({ form: 'FLOAT32' }), binary(4, true)),
    ];
    for (const way of ways) assert.deepEqual(way, ways[0]);
    // 100 ms are five whole cycles: the cosine peaks at the UTC second
    assert.deepEqual(
      ways[0]!.map((r) => [r.terminal, Math.round(r.angleDeg! * 100) / 100 + 0, Math.round(r.voltageV!)]),
      [
        ['bank/1', 0, 11547],
        ['bank/1', 0, 11547],
        ['bank/2', -120, 11547],
        ['bank/2', -120, 11547],
      ],
    );
    assert.equal(ways[0]![0]!.takenAt, '2026-05-04T10:15:30.149844Z');
    assert.deepEqual(ways[0]![0]!.clock, { locked: true });
  });

  it('secondary values are carried to the primary side; time quality becomes a clock error', () => {
    const [first] = read(cfg({ ps: 'S', clock: '2,2\r\n5,0' }), ascii());
    assert.equal(Math.round(first!.voltageV!), 11547);
    assert.deepEqual(first!.clock, { locked: false, errorUs: 10, driftPpm: 0, holdoverS: 0 });
    assert.equal(clockErrorUs({ ...first!.clock, source: 'gnss' }), 10);
  });

  it('a channel id that stands twice is refused; its number tells which is meant', () => {
    const twice = cfg().replace('2,VB', '2,VA');
    const got = recordingWindows(twice, ascii(), { terminals: { VA: 'bank/1' } });
    assert.ok(!got.ok);
    assert.deepEqual(
      [got.problems[0]!.code, got.problems[0]!.expected],
      ['channel-ambiguous', 'the number of the channel that is meant: 1 or 2'],
    );
    const [second] = read(twice, ascii(), { terminals: { '2': 'bank/2' } });
    assert.equal(Math.round(second!.angleDeg!), -120);
    assert.equal(code(cfg(), ascii(), { terminals: { '3': 'bank/3' } }), 'channel-unknown');
  });

  it('a unit that is the name of something else is no unit', () =>
    assert.equal(code(cfg().replace('kV', 'constructor'), ascii()), 'unit-wrong'));

  it('what the rule says of the voltages travels with each window, and the estimator has the cycles it needs', () => {
    const [first] = read(cfg(), ascii(), { voltageIs: 'phase-to-earth', coupling: 'contact', antiAliased: true });
    assert.deepEqual([first!.voltageIs, first!.coupling], ['phase-to-earth', 'contact']);
    for (const filter of [
      undefined,
      { class: 'P' },
      { class: 'M', framesPerS: 100 },
      { class: 'M', framesPerS: 50 },
    ] as const) {
      const { cycles, estimate } = waveEstimator(50, filter)!;
      const got = recordingWindows(cfg(), ascii(), { terminals, cycles });
      assert.ok(got.ok, JSON.stringify(got));
      const made = new WaveReader(50, estimate).read(got.windows[0]);
      assert.ok(made.ok, JSON.stringify(made));
      assert.ok(Math.abs(made.reading.angleDeg) < 0.01, `${made.reading.angleDeg}`);
    }
  });

  it('a revision without a time code needs the offset from UTC', () => {
    assert.equal(code(cfg({ year: '1999' }), ascii()), 'offset-unknown');
    assert.equal(read(cfg({ year: '1999' }), ascii(), { offsetMin: 120 })[0]!.takenAt, '2026-05-04T10:15:30.149844Z');
  });

  it('a value marked missing or at the end of its range is refused by the reader', () => {
    const refused = (config: string, data: string | Uint8Array) => {
      const got = recordingWindows(config, data, { terminals });
      assert.ok(got.ok);
      const made = new WaveReader(50).read(got.windows[0]);
      return made.ok ? 'ok' : made.problems[0]!.code;
    };
    const holed = binary(2);
    new DataView(holed.buffer).setInt16(14 * 7 + 8, -32_768, true);
    assert.equal(refused(cfg({ form: 'BINARY' }), holed), 'gapped');
    assert.equal(refused(cfg({ max: 20_000 }), ascii()), 'clipped');
    assert.equal(refused(cfg(), ascii()), 'ok');
  });

  it('what does not fit says where', () => {
    assert.equal(code(cfg(), ascii().split('\r\n').slice(1).join('\r\n')), 'data-wrong');
    assert.equal(code(cfg({ form: 'BINARY' }), binary(4)), 'data-wrong');
    assert.equal(code(cfg({ form: 'BINARY' }), 'text'), 'data-wrong');
    assert.equal(code(cfg({ form: 'MORSE' }), ascii()), 'form-unknown');
    assert.equal(code(cfg().replace('4,2A,2D', '4,two,2D'), ascii()), 'count-wrong');
    assert.equal(code(cfg().replace('04/05/2026', '2026-05-04'), ascii()), 'time-wrong');
    assert.equal(code(cfg().replace('kV', 'A'), ascii()), 'unit-wrong');
    assert.equal(code(cfg().replace(`${RATE},`, '0,'), ascii()), 'number-wrong');
    assert.equal(code(cfg().replace('\r\n50\r\n', '\r\n0\r\n'), ascii()), 'number-wrong');
    assert.equal(code(cfg().replace(`${RATE},`, '1,'), ascii()), 'ok'); // windows of one sample: the reader refuses them
    assert.equal(code(cfg(), ascii(), { spanS: 9 }), 'too-short');
    assert.equal(code(cfg({ year: '1999' }), ascii(), { offsetMin: Number.NaN }), 'offset-unknown');
    assert.equal(code('', ''), 'line-missing');
    assert.equal(code(cfg(), ascii(), { terminals: { VC: 'bank/3' } }), 'channel-unknown');
    const cut = cfg().split('\r\n').slice(0, 8).join('\r\n');
    const got = recordingWindows(cut, '', { terminals });
    assert.ok(!got.ok && /^line 9: the file ends/.test(got.problems[0]!.what), JSON.stringify(got));
    const said = (config: string, data: string) => {
      const { at, what } = (recordingWindows(config, data, { terminals }) as { problems: readonly Problem[] })
        .problems[0]!;
      return `${at} ${what}`;
    };
    assert.equal(
      said(cfg().replace(`kV,${A}`, 'kV,high'), ascii()),
      '/cfg/3/6 line 3, field 6: a of an analog channel is "high"',
    );
    assert.equal(
      said(cfg().replace('04/05/2026', '31/02/2026'), ascii()),
      '/cfg/10/1 line 10, field 1: there is no 31/02/2026, 12:15:30.100000',
    );
    for (const wrong of ['04/00/2026', '04/13/2026', '04/99/2026', '00/05/2026', '04/05/0026'])
      assert.equal(code(cfg().replace('04/05/2026', wrong), ascii()), 'time-wrong', wrong);
    for (const wrong of ['12:15:60.100000', '12:15:99.100000', '12:60:30.100000', '24:15:30.100000'])
      assert.equal(code(cfg().replace('12:15:30.100000', wrong), ascii()), 'time-wrong', wrong);
    assert.equal(said(cfg().replace('200,1,P', '200,1,X'), ascii()), '/cfg/3/13 line 3, field 13: the side is "X"');
    assert.equal(said(cfg(), ascii().replace('\r\n4,', '\r\n7,')), '/dat/4/1 row 4 has the number 7');
    assert.equal(
      said(cfg(), ascii().replace(/\r\n3,625,-?\d+/, '\r\n3,625,many')),
      '/dat/3/3 row 3, field 3 is "many"',
    );
    assert.equal(said(cfg({ clock: 'noon,0\r\n0,0' }), ascii()), '/cfg/14/1 line 14, field 1: the time code is "noon"');
    assert.equal(said(cfg({ clock: '0,0\r\nC7,0' }), ascii()), '/cfg/15/1 line 15, field 1: the time quality is "C7"');
  });
});
