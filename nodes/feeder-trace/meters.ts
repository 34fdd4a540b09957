/** Voltages of meters, as they come in msg.payload: series, a table, or what the ledger holds of a span of time. */
import { type MeterBatchRead, readMeterBatch } from '../../lib/feeder/io/meter-batch';
import { readMeterCsv, readMeterRows } from '../../lib/feeder/io/meter-csv';
import type { MeterBatch } from '../../lib/feeder/meter-evidence';
import { type MeterSpan, VoltageSteps } from '../../lib/feeder/meter-steps';
import type { Feeder } from '../../lib/feeder/model';
import { parseInstant } from '../../lib/instant';
import type { Reading } from '../../lib/records';
import { type LedgerHandle, patiently } from '../kit/kept-readings';
import { asError, Trouble } from '../kit/trouble';
import { parquetRows } from './meter-parquet';

type Payload = Readonly<Record<string, unknown>>;

/** {meters} or {action: 'meters-from-ledger'} */
export const isMeters = (payload: unknown): payload is Payload =>
  typeof payload === 'object' &&
  payload !== null &&
  ('meters' in payload || ('action' in payload && payload.action === 'meters-from-ledger'));

/** @throws Trouble 'meters-invalid' that says what is wrong and what would be right */
export async function metersOf(
  feeder: Feeder,
  payload: Payload,
  ledger: LedgerHandle | undefined,
): Promise<MeterBatch> {
  if (payload.action === 'meters-from-ledger') return fromLedger(feeder, payload, ledger);
  const read = await readMeters(feeder, payload);
  if (!read.ok) throw invalid(`${isTable(payload.meters) ? '.meters: ' : ''}${read.problems.slice(0, 5).join('; ')}`);
  const lacking = feeder.phases.filter((p) => !read.batch.phases[p]);
  if (lacking.length > 0) throw invalid(`.phases has no series of ${lacking.join(', ')}; expected one a phase`);
  return read.batch;
}

async function readMeters(feeder: Feeder, payload: Payload): Promise<MeterBatchRead> {
  const { meters } = payload;
  const id = typeof payload.id === 'string' && payload.id !== '' ? payload.id : 'meters';
  if (typeof meters === 'string') return readMeterCsv(meters, feeder.phases, id);
  if (Buffer.isBuffer(meters)) return readMeterRows(await parquetRows(meters), feeder.phases, id);
  return readMeterBatch(payload);
}

const isTable = (meters: unknown): boolean => typeof meters === 'string' || Buffer.isBuffer(meters);
const invalid = (what: string): Trouble => new Trouble('meters-invalid', `msg.payload${what}`);
const PAGE = 5000;

async function fromLedger(feeder: Feeder, payload: Payload, ledger: LedgerHandle | undefined): Promise<MeterBatch> {
  if (!ledger) throw new Trouble('config', 'this node has no ledger to take voltages from; choose one in its settings');
  const span = spanOf(payload);
  const steps = stepsOf(feeder, span);
  for (const terminal of new Set([...feeder.terminals.keys(), ...Object.values(span.phases)])) {
    let after: string | undefined;
    do {
      const page = await patiently(ledger, (kept) =>
        kept.records({
          kinds: ['reading'],
          subject: terminal,
          fromUs: span.fromUs,
          toUs: span.untilUs,
          limit: PAGE,
          ...(after === undefined ? {} : { after }),
        }),
      );
      for (const record of page.records) steps.add(record as Reading);
      after = page.next;
    } while (after !== undefined);
  }
  return steps.batch();
}

function stepsOf(feeder: Feeder, span: MeterSpan): VoltageSteps {
  try {
    return new VoltageSteps(feeder, span);
  } catch (cause) {
    throw invalid(`: ${asError(cause).message}`);
  }
}

function spanOf({ id, phases, from, until, stepS }: Payload): MeterSpan {
  const [fromUs, untilUs] = [from, until].map((t) => parseInstant(String(t))) as [number, number];
  if (Number.isNaN(fromUs)) throw invalid(`.from is ${JSON.stringify(from)}; expected RFC 3339`);
  if (Number.isNaN(untilUs)) throw invalid(`.until is ${JSON.stringify(until)}; expected RFC 3339`);
  if (typeof stepS !== 'number' || !(stepS > 0))
    throw invalid(`.stepS is ${JSON.stringify(stepS)}; expected seconds above 0`);
  if (typeof phases !== 'object' || phases === null || !Object.values(phases).every((t) => typeof t === 'string')) {
    throw invalid('.phases must name a terminal for each phase, such as {"A": "head/1", "B": "head/2", "C": "head/3"}');
  }
  return {
    id: typeof id === 'string' && id !== '' ? id : `meters ${String(from)} to ${String(until)}`,
    phases: phases as Record<string, string>,
    fromUs,
    untilUs,
    stepS,
  };
}
