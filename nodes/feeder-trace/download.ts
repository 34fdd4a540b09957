/** A trace as a file for those who mend the record: a table of corrections, a map, or the difference of the CIM model it came from. */
import { acceptedAgainstDocument, offeredAgainstDocument } from '../../lib/feeder/io/against-document';
import type { CimPlaces } from '../../lib/feeder/io/cim';
import { cimCorrections } from '../../lib/feeder/io/cim-corrections';
import { correctionsCsv } from '../../lib/feeder/io/corrections-csv';
import { traceGeoJson } from '../../lib/feeder/io/geojson-write';
import type { FeederTrace } from '../../lib/feeder/trace';
import type { Trace } from '../../lib/records';
import { Trouble } from '../kit/trouble';

export interface DownloadRequest {
  readonly format: 'csv' | 'geojson' | 'cim';
  /** only corrections that a person accepted; the map always shows all */
  readonly acceptedOnly: boolean;
}

export interface Download {
  readonly payload: string;
  readonly filename: string;
  readonly contentType: string;
  /** sections whose correction the model has no place for */
  readonly notExpressible?: readonly string[];
  /** accepted, but left out of what was asked for, since the evidence says otherwise by now */
  readonly contradicted?: readonly string[];
}

const FORMATS: readonly unknown[] = ['csv', 'geojson', 'cim'];

/** @throws Trouble that says what would be right */
export function readDownload({ format, acceptedOnly }: Readonly<Record<string, unknown>>): DownloadRequest {
  if (!FORMATS.includes(format)) {
    throw new Trouble(
      'format-unknown',
      `msg.payload.format is ${JSON.stringify(format) ?? 'missing'}; it must be one of ${FORMATS.join(', ')}`,
    );
  }
  return { format: format as DownloadRequest['format'], acceptedOnly: acceptedOnly === true };
}

export function download(
  run: FeederTrace,
  record: Trace,
  places: CimPlaces | undefined,
  { format, acceptedOnly }: DownloadRequest,
): Download {
  const filename = `${record.feeder}-${record.id}`;
  if (format === 'geojson') {
    const payload = JSON.stringify({ ...traceGeoJson(run), caution: record.caution });
    return { payload, filename: `${filename}.geojson`, contentType: 'application/geo+json' };
  }
  const groups = acceptedOnly ? acceptedAgainstDocument(record) : offeredAgainstDocument(record);
  const contradicted = (record.accepted ?? []).filter((d) => d.contradicted).map((d) => d.section);
  const left = acceptedOnly ? { contradicted } : {};
  if (format === 'csv') {
    return { payload: correctionsCsv(record, groups), filename: `${filename}.csv`, contentType: 'text/csv', ...left };
  }
  if (!places)
    throw new Trouble('format-unknown', 'the feeder did not come from a CIM file; right would be csv or geojson');
  const { xml, notExpressible } = cimCorrections(record, places, groups);
  return { payload: xml, filename: `${filename}.xml`, contentType: 'application/rdf+xml', notExpressible, ...left };
}
