/** A feeder from a file: JSON, CSV, GeoJSON or CIM, by the ending of its name. */
import { readFileSync } from 'node:fs';
import { basename, extname } from 'node:path';
import { type CimPlaces, type CimRead, readFeederCim } from '../../lib/feeder/io/cim';
import { CIM_XML_OPTIONS, type ParseXml } from '../../lib/feeder/io/cim-objects';
import { readFeederCsv } from '../../lib/feeder/io/csv';
import { readFeederJson } from '../../lib/feeder/io/document';
import { readFeederGeoJson } from '../../lib/feeder/io/geojson';
import type { Feeder } from '../../lib/feeder/model';
import { asError, Trouble } from '../kit/trouble';

export interface FeederFile {
  readonly path: string;
  /** left out: the name of the file */
  readonly id?: string;
  /** node that feeds it, where the file does not say */
  readonly source?: string;
  /** labels of the frame: tables, maps and CIM models do not say in which order their phases reach their crest */
  readonly phases: readonly [string, string, string];
}

type Given = Omit<FeederFile, 'path'> & { readonly id: string };

const FORMATS: Readonly<Record<string, (text: string, given: Given) => CimRead>> = {
  '.json': readFeederJson,
  '.csv': readFeederCsv,
  '.geojson': (text, given) => readFeederGeoJson(parsedJson(text), { source: '', ...given }),
  '.xml': (text, given) => readFeederCim(text, xmlParser(), given),
};

/** @throws Trouble that says what is wrong, which row, and what would be right */
export function feederFromFile({ path, ...given }: FeederFile): { feeder: Feeder; places?: CimPlaces } {
  const format = FORMATS[extname(path).toLowerCase()];
  if (!format) {
    throw new Trouble('config', `the file ${path} ends in none of ${Object.keys(FORMATS).join(', ')}`);
  }
  const read = format(textOf(path), { ...given, id: given.id ?? basename(path, extname(path)) });
  if (read.ok) return { feeder: read.feeder, ...(read.places ? { places: read.places } : {}) };
  throw new Trouble('config', `feeder file ${path}: ${read.problems.slice(0, 20).join('; ')}`);
}

function textOf(path: string): string {
  try {
    return readFileSync(path, 'utf8');
  } catch (cause) {
    throw new Trouble('config', `the file ${path} cannot be read: ${asError(cause).message}`);
  }
}

function parsedJson(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch (cause) {
    throw new Trouble('config', `not JSON: ${asError(cause).message}`);
  }
}

function xmlParser(): ParseXml {
  try {
    const { XMLParser } = require('fast-xml-parser') as typeof import('fast-xml-parser');
    return (text) => new XMLParser(CIM_XML_OPTIONS).parse(text);
  } catch {
    throw new Trouble('package-missing', 'a CIM file needs the package fast-xml-parser: npm install fast-xml-parser');
  }
}
