/** What must hold of whatever a door lets in. Schemas are held by an Ajv of this file, not by the validator under test. */
import Ajv2020 from 'ajv/dist/2020';
import { parseReading } from '../../lib/reading';
import { type Reading, type Rejection, schemas } from '../../lib/records';
import type { Taken } from '../../nodes/readings-in/arrival';
import type { Hostile } from './fuzz-input';

/** Throws, with the input, when something that must hold does not. */
export type DoorCase = (hostile: Hostile) => void | Promise<void>;

const ajv = new Ajv2020({ strict: false, formats: { instant: /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z$/ } });
const isReading = ajv.compile(JSON.parse(JSON.stringify(schemas.reading)));
const isRejection = ajv.compile(JSON.parse(JSON.stringify(schemas.rejection)));

export const RECEIVED_AT_US = Date.parse('2026-05-04T10:20:00Z') * 1000;
export const RULES = { maxBytes: 65_536, futureToleranceS: 5 };
export const arrival = (bytes: Buffer) => ({
  topic: 'readings/P-01',
  bytes,
  receivedAtUs: RECEIVED_AT_US,
  retain: false,
});

export function asBytes(value: unknown): Buffer {
  try {
    return Buffer.from(JSON.stringify(value) ?? '');
  } catch {
    return Buffer.from('unwritable');
  }
}

export function demand(holds: boolean, what: string): asserts holds {
  if (!holds) throw new Error(what);
}

export function soundTaken({ readings, rejection }: Taken): void {
  for (const reading of readings) soundReading(reading);
  if (rejection) soundRejection(rejection);
}

export function soundRejection(rejection: Rejection): void {
  demand(
    isRejection(JSON.parse(JSON.stringify(rejection))) === true,
    `a rejection breaks its schema: ${JSON.stringify(isRejection.errors)}`,
  );
  soundProblems(rejection.problems);
}

export function soundProblems(problems: readonly { readonly what: string; readonly expected: string }[]): void {
  demand(problems.length > 0, 'refused without a reason');
  demand(
    problems.every((p) => p.what !== '' && p.expected !== ''),
    'a problem says nothing',
  );
}

export function soundReading(reading: Reading): void {
  const wire: object = JSON.parse(JSON.stringify(reading));
  demand(isReading(wire) === true, `a reading breaks its schema: ${JSON.stringify(isReading.errors)}`);
  const again = parseReading(wire);
  demand(again.ok && again.reading.id === reading.id, 'written and read again it has another id');
  demand(!Object.hasOwn(wire as object, '__proto__'), 'a member is called __proto__');
}

export function soundParse(parsed: ReturnType<typeof parseReading>): void {
  if (parsed.ok) soundReading(parsed.reading);
  else demand(parsed.problems.length > 0, 'refused without a reason');
}
