/** The doors for what planners and meters bring: feeders as JSON, tables and maps, tables of voltages. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { XMLParser } from 'fast-xml-parser';
import { readFeederCim } from '../../lib/feeder/io/cim';
import { CIM_XML_OPTIONS } from '../../lib/feeder/io/cim-objects';
import { readFeederCsv } from '../../lib/feeder/io/csv';
import { writeFeederCsv } from '../../lib/feeder/io/csv-write';
import { readFeeder, readFeederJson } from '../../lib/feeder/io/document';
import { readFeederGeoJson } from '../../lib/feeder/io/geojson';
import { readMeterBatch } from '../../lib/feeder/io/meter-batch';
import { readMeterCsv } from '../../lib/feeder/io/meter-csv';
import type { FeederRead } from '../../lib/feeder/io/read';
import type { FeederDocument } from '../../lib/feeder/model';
import { traceFeeder } from '../../lib/feeder/trace';
import { type DoorCase, demand } from './fuzz-sound';

export function feederDoors(): Record<string, DoorCase> {
  return {
    'feeder, JSON': (h) =>
      soundFeeder(h.below(2) ? readFeederJson(h.damaged(JSON_TEXT)) : readFeeder(h.almost(FEEDER))),
    'feeder, table': (h) => soundFeeder(readFeederCsv(h.damaged(TABLE), { id: 'F' })),
    'feeder, map': (h) => soundFeeder(readFeederGeoJson(h.almost(MAP), { id: 'F', source: 'n0' })),
    'feeder, CIM': (h) => soundFeeder(readFeederCim(h.damaged(MODEL), parseXml, { id: 'F', source: HEAD })),
    'voltages of meters': (h) => soundMeters(readMeterBatch(h.below(2) ? h.almost(METERS) : h.value())),
    'voltages of meters, table': (h) => soundMeters(readMeterCsv(h.damaged(METER_TABLE), ['A', 'B', 'C'], 'm')),
  };
}

const ABC = ['A', 'B', 'C'];
const FEEDER: FeederDocument = {
  id: 'F',
  source: 'n0',
  sections: [
    { id: 's1', from: 'n0', to: 'n1', phases: ABC, kind: 'joint' },
    { id: 's2', from: 'n2', to: 'n3', phases: ABC, lengthM: 40 },
    { id: 's3', from: 'n1', to: 'n4', phases: ['B'], changePrior: 0.05 },
  ],
  transformers: [{ id: 't', from: 'n1', to: 'n2', phases: ABC, vectorGroup: 'Dyn11' }],
  switches: [{ id: 'k', from: 'n3', to: 'n1', phases: ABC, closed: true }],
  terminals: [{ id: 'x/1', section: 's2', phase: 'A', site: 'x' }],
  loads: [{ id: 'l', section: 's3', phases: ['B'], kw: 4 }],
};
const JSON_TEXT = JSON.stringify(FEEDER);
const TABLE = writeFeederCsv(FEEDER);
const MAP = {
  type: 'FeatureCollection',
  features: [
    ['s1', 'n0', 'n1'],
    ['s2', 'n1', 'n2'],
  ].map(([id, from, to], i) => ({
    type: 'Feature',
    geometry: {
      type: 'LineString',
      coordinates: [
        [i, 50],
        [i + 1, 50],
      ],
    },
    properties: { id, from, to, phases: 'ABC' },
  })),
};
const MODEL = readFileSync(join(__dirname, '../outside/data/cim_ieee13_excerpt.xml'), 'utf8');
const HEAD = '6CB5E5CE-2CD0-40CC-A979-B4F9ED05E49B';
const parseXml = (text: string): unknown => new XMLParser(CIM_XML_OPTIONS).parse(text);
const SERIES = [230.1, 230.4, null, 229.8];
const METERS = {
  id: 'm',
  until: '2026-05-04T10:15:00Z',
  phases: { A: SERIES, B: SERIES, C: SERIES },
  meters: { x: SERIES },
};
const METER_TABLE = ['time,A,B,C,x', ...SERIES.map((v, i) => `2026-05-04T10:0${i}:00Z,${v ?? ''},231,229,230`)].join(
  '\n',
);

function said(problems: readonly string[]): void {
  demand(problems.length > 0 && problems.every((p) => p.trim() !== ''), 'refused without a reason');
}

/** Either sentences about what is wrong, or a feeder that can be traced. */
function soundFeeder(read: FeederRead): void {
  if (!read.ok) {
    said(read.problems);
    return;
  }
  const { solution } = traceFeeder(read.feeder, []);
  demand(solution.belief.every(Number.isFinite), 'a feeder was let in whose beliefs are not numbers');
}

function soundMeters(read: ReturnType<typeof readMeterBatch>): void {
  if (!read.ok) {
    said(read.problems);
    return;
  }
  const { phases, meters } = read.batch;
  const lengths = new Set([...Object.values(phases), ...Object.values(meters)].map((s) => s.length));
  demand(lengths.size <= 1, 'series of different lengths were let in');
}
