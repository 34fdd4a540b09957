/** Corrections of a trace as a table, for those who mend the record by hand. */
import { spreadsheetField } from '../../csv';
import type { Trace } from '../../records';
import { type DocumentGroup, offeredAgainstDocument } from './against-document';
import { phaseCode } from './cim-corrections';

const COLUMNS = [
  'section',
  'recorded',
  'phases',
  'phaseCode',
  'accepted',
  'probability',
  'cause',
  'change',
  'causeProbability',
  'trace',
];

/**
 * One row a label: `recorded` is what the feeder document says, `phases` what holds instead, `phaseCode` its code of IEC 61970-301, empty where the
 * labels are not A, B, C, `accepted` what a person accepted before. The last row is the caution.
 */
export function correctionsCsv(trace: Trace, groups: readonly DocumentGroup[] = offeredAgainstDocument(trace)): string {
  const rows = groups.flatMap(({ cause, labels }) =>
    labels.map((l) => [
      l.section,
      l.recorded.join(' '),
      l.phases.join(' '),
      l.phases.every((p) => /^[ABC]$/.test(p)) ? phaseCode(l.phases) : '',
      (l.accepted ?? []).join(' '),
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
