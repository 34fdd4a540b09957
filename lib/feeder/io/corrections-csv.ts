/** Corrections of a trace as a table, for those who mend the record by hand. */
import { spreadsheetField } from '../../csv';
import type { Trace } from '../../records';
import { phaseCode } from './cim-corrections';

const COLUMNS = [
  'section',
  'recorded',
  'phases',
  'phaseCode',
  'probability',
  'cause',
  'change',
  'causeProbability',
  'trace',
];

/** One row a label; `phaseCode` is that of IEC 61970-301, empty where the labels are not A, B, C. The last row is the caution. */
export function correctionsCsv(trace: Trace): string {
  const rows = trace.corrections.flatMap(({ cause, labels }) =>
    labels.map((l) => [
      l.section,
      l.recorded.join(' '),
      l.phases.join(' '),
      l.phases.every((p) => /^[ABC]$/.test(p)) ? phaseCode(l.phases) : '',
      l.probability.toFixed(4),
      cause.section,
      cause.change,
      cause.probability.toFixed(4),
      trace.id,
    ]),
  );
  return [COLUMNS, ...rows, [trace.caution ?? '']]
    .map((row) => row.map(spreadsheetField).join(','))
    .join('\r\n')
    .concat('\r\n');
}
