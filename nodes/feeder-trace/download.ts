/** A trace as a file for those who mend the record: a table of corrections, a map, or the difference of the CIM model it came from. */
import type { CimPlaces } from '../../lib/feeder/io/cim';
import { cimCorrections } from '../../lib/feeder/io/cim-corrections';
import { correctionsCsv } from '../../lib/feeder/io/corrections-csv';
import { traceGeoJson } from '../../lib/feeder/io/geojson';
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
  const told = acceptedOnly ? accepted(record) : record;
  const filename = `${record.feeder}-${record.id}`;
  if (format === 'csv') return { payload: correctionsCsv(told), filename: `${filename}.csv`, contentType: 'text/csv' };
  if (format === 'geojson') {
    const payload = JSON.stringify({ ...traceGeoJson(run), caution: record.caution });
    return { payload, filename: `${filename}.geojson`, contentType: 'application/geo+json' };
  }
  if (!places)
    throw new Trouble('format-unknown', 'the feeder did not come from a CIM file; right would be csv or geojson');
  const { xml, notExpressible } = cimCorrections(told, places);
  return { payload: xml, filename: `${filename}.xml`, contentType: 'application/rdf+xml', notExpressible };
}

/** What was accepted, in the form of what is offered; each person's decisions under the section that they were about. */
const accepted = (record: Trace): Trace => ({
  ...record,
  corrections: (record.accepted ?? []).map(({ by, decidedAt, correction, ...label }) => ({
    cause: { section: label.section, probability: label.probability, change: `accepted by ${by}, ${decidedAt}` },
    labels: [label],
    from: [correction],
  })),
});
