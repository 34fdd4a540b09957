/** Our frames as Wireshark's dissector for IEEE C37.118 reads them: an independent reader, run on a capture file made here. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect } from 'chai';
import fc from 'fast-check';
import { wrap180 } from '../../lib/angle';
import {
  COMMANDS,
  type ConfigFrame,
  type DataFrame,
  decodeFrame,
  encodeConfigParts,
  encodeFrame,
  frequencyOf,
  type PmuStatus,
  phasorOf,
  readStatus,
} from '../../lib/synchrophasor';
import { resealed, stream } from '../lib/synchrophasor-samples';

const FIELDS = [
  'synphasor.frtype',
  'synphasor.version',
  'synphasor.frsize',
  'synphasor.idcode_stream_source',
  'synphasor.soc',
  'synphasor.fracsec_raw',
  'synphasor.timeqal.timequalindic',
  'synphasor.checksum.status',
  'synphasor.conf.timebase',
  'synphasor.conf.numpmu',
  'synphasor.num_phasors',
  'synphasor.num_analog_values',
  'synphasor.num_digital_status_words',
  'synphasor.rate_of_transmission',
  'synphasor.conf.cfgcnt',
  'synphasor.data.status',
  'synphasor.data.pmu_tq',
  'synphasor.data.t_unlock',
  'synphasor.data.sync',
  'synphasor.data.sorting',
  'synphasor.data.CFGchange',
  'synphasor.data.data_modified',
  'synphasor.command',
  'synphasor.data.conf_frame',
  '_ws.malformed',
] as const;
type Row = Record<(typeof FIELDS)[number], string>;

/** A capture of UDP datagrams in the format of pcap, link type 1 (Ethernet), all from one address to the port of the standard, 4713. */
function pcap(datagrams: readonly Uint8Array[]): Buffer {
  const file = Buffer.alloc(24);
  file.writeUInt32LE(0xa1b2c3d4, 0);
  file.writeUInt16LE(2, 4);
  file.writeUInt16LE(4, 6);
  file.writeUInt32LE(262_144, 16);
  file.writeUInt32LE(1, 20);
  return Buffer.concat([file, ...datagrams.map(packet)]);
}

function packet(payload: Uint8Array, i: number): Buffer {
  const ethernet = Buffer.from('020000000002020000000001' + '0800', 'hex');
  const ip = Buffer.from('4500000000000000401100000a0000010a000002', 'hex');
  ip.writeUInt16BE(28 + payload.length, 2);
  const udp = Buffer.alloc(8);
  udp.writeUInt16BE(4713, 0);
  udp.writeUInt16BE(4713, 2);
  udp.writeUInt16BE(8 + payload.length, 4);
  const frame = Buffer.concat([ethernet, ip, udp, payload]);
  const header = Buffer.alloc(16);
  header.writeUInt32LE(i, 0);
  header.writeUInt32LE(frame.length, 8);
  header.writeUInt32LE(frame.length, 12);
  return Buffer.concat([header, frame]);
}

/** What Wireshark's command-line reader prints of a capture; the files are removed. */
function tshark(datagrams: readonly Uint8Array[], ...options: string[]): string {
  const folder = mkdtempSync(join(tmpdir(), 'phaseloom-'));
  try {
    const file = join(folder, 'frames.pcap');
    writeFileSync(file, pcap(datagrams));
    return execFileSync('tshark', ['-n', '-r', file, '-d', 'udp.port==4713,synphasor', ...options], {
      stdio: ['ignore', 'pipe', 'ignore'],
      env: { ...process.env, TZ: 'UTC', LC_ALL: 'C.UTF-8' },
      maxBuffer: 1 << 26,
    }).toString('utf8');
  } finally {
    rmSync(folder, { recursive: true });
  }
}

function rowsOf(datagrams: readonly Uint8Array[]): Row[] {
  const fields = FIELDS.flatMap((f) => ['-e', f]);
  const lines = tshark(datagrams, '-T', 'fields', '-E', 'separator=/t', '-E', 'aggregator=|', ...fields).split('\n');
  return datagrams.map((_, i) => {
    const cells = lines[i]!.split('\t');
    return Object.fromEntries(FIELDS.map((f, k) => [f, cells[k] ?? ''])) as Row;
  });
}

const joined = (values: readonly unknown[]) => values.join('|');
const hex = (x: number, digits = 4) => `0x${x.toString(16).padStart(digits, '0')}`;

/** What the dissector should say of the head of a frame. */
const headOf = ({ version, idCode, time }: ConfigFrame | DataFrame, bytes: Uint8Array) => ({
  version: String(version),
  frsize: String(bytes.length),
  idcode_stream_source: String(idCode),
  soc: time.soc,
  fracsec_raw: String(time.fraction),
  timequalindic: hex(time.quality & 15, 2),
  status: '1',
});
const headIn = (row: Row) => ({
  version: row['synphasor.version'],
  frsize: row['synphasor.frsize'],
  idcode_stream_source: row['synphasor.idcode_stream_source'],
  soc: Date.parse(row['synphasor.soc'].replace(/\.0+ UTC$/, ' UTC')) / 1000,
  fracsec_raw: row['synphasor.fracsec_raw'],
  timequalindic: row['synphasor.timeqal.timequalindic'],
  status: row['synphasor.checksum.status'],
});

const SCALE = { flags: 0, component: 4, user: 0, factor: 0.25, angleRad: 0.5 };

/** A stream of one PMU whose numbers are those of a network. */
function measured(idCode: number, type: 'config-2' | 'config-3', isPolar: boolean, floatPhasors: boolean) {
  const isLong = type === 'config-3';
  const names = ['VA', 'VB', 'VC'];
  const phasors = names.map((name) => ({ name, isCurrent: false, ...(isLong ? { scale: SCALE } : { unit: 25_000 }) }));
  const format = { isPolar, floatPhasors, floatAnalogs: false, floatFrequency: floatPhasors };
  const head = { version: 2, idCode, time: { soc: 1_772_000_000, fraction: 500_000, quality: 0 } };
  const pmu = {
    station: 'Hollin bank',
    idCode,
    format,
    phasors,
    analogs: [],
    digitals: [],
    nominalHz: 50 as const,
    changes: 0,
  };
  const config: ConfigFrame = {
    type,
    ...head,
    timeBase: 1_000_000,
    pmus: [pmu],
    dataRate: 50,
    ...(isLong ? { part: 0 } : {}),
  };
  const counts = [0.1, -2.0, 2.2].flatMap((angle, k) => {
    const magnitude = floatPhasors ? 7200 + k : 28_800 + k;
    if (isPolar) return [magnitude, floatPhasors ? Math.fround(angle) : Math.round(angle * 1e4)];
    return [magnitude * Math.cos(angle), magnitude * Math.sin(angle)].map(floatPhasors ? Math.fround : Math.round);
  });
  const frequency = floatPhasors ? Math.fround(49.985) : -15;
  const data: DataFrame = {
    type: 'data',
    ...head,
    pmus: [{ stat: 0x0080, phasors: counts, frequency, frequencyRate: 0, analogs: [], digitals: [] }],
  };
  return { config, data };
}

describe('synchrophasor frames, read by the dissector of Wireshark (tshark)', function () {
  this.timeout(60_000);

  it('configurations and data of any shape: heads, counts, rates, STAT and the check word', () => {
    const samples = fc.sample(stream, { seed: 118, numRuns: 80 });
    const frames = samples.flatMap(({ config, data }) => [encodeFrame(config), encodeFrame(data, config)]);
    const rows = rowsOf(frames);
    let dissected = 0;
    samples.forEach(({ config, data }, i) => {
      const [c, d] = [rows[2 * i]!, rows[2 * i + 1]!];
      expect(headIn(c)).to.deep.equal(headOf(config, frames[2 * i]!));
      expect(headIn(d)).to.deep.equal(headOf(data, frames[2 * i + 1]!));
      expect(Number(c['synphasor.frtype'])).to.equal({ 'config-1': 2, 'config-2': 3, 'config-3': 5 }[config.type]);
      expect(c['synphasor.conf.timebase']).to.equal(String(config.timeBase));
      expect(c['synphasor.num_phasors']).to.equal(joined(config.pmus.map((p) => p.phasors.length)));
      expect(c['synphasor.num_analog_values']).to.equal(joined(config.pmus.map((p) => p.analogs.length)));
      expect(c['synphasor.num_digital_status_words']).to.equal(joined(config.pmus.map((p) => p.digitals.length)));
      expect(c['synphasor.conf.cfgcnt']).to.equal(joined(config.pmus.map((p) => p.changes)));
      expect(c['synphasor.rate_of_transmission']).to.equal(String(config.dataRate));
      expect(c['_ws.malformed'] + d['_ws.malformed']).to.equal('');
      // The dissector reads data after a CFG-2 or CFG-3 only.
      if (d['synphasor.data.conf_frame'] !== String(2 * i + 1)) return;
      dissected++;
      const stats = data.pmus.map(({ stat }) => readStatus(stat));
      expect(d['synphasor.data.status']).to.equal(joined(stats.map((s) => hex(s.dataError))));
      expect(d['synphasor.data.pmu_tq']).to.equal(joined(stats.map((s) => hex(s.timeQuality))));
      expect(d['synphasor.data.t_unlock']).to.equal(joined(stats.map((s) => hex(s.unlocked))));
      const flag = (test: (s: PmuStatus) => boolean) => joined(stats.map((s) => (test(s) ? 1 : 0)));
      expect(d['synphasor.data.sync']).to.equal(flag((s) => !s.inSync));
      expect(d['synphasor.data.sorting']).to.equal(flag((s) => s.byArrival));
      expect(d['synphasor.data.CFGchange']).to.equal(flag((s) => s.configChange));
      expect(d['synphasor.data.data_modified']).to.equal(flag((s) => s.modified));
    });
    expect(dissected).to.be.greaterThan(30);
  });

  it('phasors in volts and degrees, frequency in hertz: 16-bit and float, rectangular and polar, CFG-2 and CFG-3', () => {
    const streams = [false, true].flatMap((isPolar) =>
      [false, true].flatMap((isFloat) =>
        (['config-2', 'config-3'] as const).map((type, k) => measured(10 + k, type, isPolar, isFloat)),
      ),
    );
    const text = tshark(
      streams.flatMap(({ config, data }) => [encodeFrame(config), encodeFrame(data, config)]),
      '-O',
      'synphasor',
    );
    const figures = [...text.matchAll(/Phasor #\d: "\w+\s*",\s*([\d.]+)V ∠\s*(-?[\d.]+)°/g)].map((m) => [
      Number(m[1]),
      Number(m[2]),
    ]);
    const ours = streams.flatMap(({ config, data }) =>
      [0, 1, 2].map((i) => phasorOf(config.pmus[0]!, data.pmus[0]!, i)!),
    );
    expect(figures).to.have.length(24);
    ours.forEach(({ magnitude, angleDeg }, i) => {
      expect(magnitude).to.be.closeTo(figures[i]![0]!, 6e-4);
      expect(Math.abs(wrap180(angleDeg - figures[i]![1]!))).to.be.lessThan(6e-4);
    });
    const hertz = [...text.matchAll(/actual frequency: ([\d.]+)Hz|Actual frequency value: ([\d.]+)/g)].map((m) =>
      Number(m[1] ?? m[2]),
    );
    expect(hertz).to.have.length(8);
    streams.forEach(({ config, data }, i) => {
      expect(frequencyOf(config.pmus[0]!, data.pmus[0]!)).to.be.closeTo(hertz[i]!, 6e-4);
    });
  });

  it('the parts of a CFG-3: heads, check words, known as parts', () => {
    const { config } = measured(20, 'config-3', true, true);
    const frames = encodeConfigParts(config, 60);
    const rows = rowsOf(frames);
    expect(frames.length).to.be.greaterThan(2);
    rows.forEach((row, i) => {
      expect(headIn(row)).to.deep.equal(headOf(config, frames[i]!));
      expect(Number(row['synphasor.frtype'])).to.equal(5);
    });
    // The dissector knows a part by its CONT_IDX and goes no further.
    expect(tshark(frames, '-O', 'synphasor').match(/CFG-3 Fragmented Frame/g)).to.have.length(frames.length);
  });

  it('commands', () => {
    const head = {
      type: 'command' as const,
      version: 2,
      idCode: 7,
      time: { soc: 10, fraction: 0, quality: 0 },
      extended: new Uint8Array(),
    };
    const codes = Object.values(COMMANDS);
    const frames = codes.map((command) => encodeFrame({ ...head, command }));
    expect(rowsOf(frames).map((r) => Number(r['synphasor.command']))).to.deep.equal(codes);
    const said = tshark(frames, '-O', 'synphasor');
    const words = [
      /data transmission off/i,
      /data transmission on/i,
      /HDR frame/i,
      /CFG-1/i,
      /CFG-2/i,
      /CFG-3/i,
      /extended/i,
    ];
    for (const word of words) expect(said).to.match(word);
  });

  it('what was damaged is refused here whenever the dissector finds the check word wrong or the frame malformed', () => {
    const good = fc.sample(stream, { seed: 4713, numRuns: 30 });
    const spots = fc.sample(fc.tuple(fc.nat(), fc.integer({ min: 1, max: 255 })), { seed: 4713, numRuns: 30 });
    const frames = good.map(({ config }, i) => {
      const bytes = Uint8Array.from(encodeFrame(config));
      const [at, by] = spots[i]!;
      // SYNC and FRAMESIZE stay, else the dissector does not take the datagram for a frame.
      bytes[4 + (at % (bytes.length - 4))]! ^= by;
      return i % 3 === 0 ? bytes : resealed(bytes);
    });
    const rows = rowsOf(frames);
    const theirs = rows.map((r) => r['synphasor.checksum.status'] === '1' && r['_ws.malformed'] === '');
    const ours = frames.map((f) => decodeFrame(f).ok);
    theirs.forEach((fine, i) => {
      if (!fine) expect(ours[i], `frame ${i}`).to.equal(false);
    });
    expect(theirs.filter((fine) => !fine)).to.have.length.within(10, 29);
    // We also refuse what the dissector lets pass, such as names that are no text.
    expect(ours.filter(Boolean).length).to.be.greaterThan(0);
  });
});
