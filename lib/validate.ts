/** The validators of the message contract, made by Ajv from the same schemas that give the types. */
import type { TSchema } from '@sinclair/typebox';
import type { Options } from 'ajv';
import Ajv2020 from 'ajv/dist/2020';
import { parseInstant } from './instant';
import { type Kind, type Problem, schemas } from './records';
import { toldProblems } from './schema-problem';

function makeAjv(options: Options): Ajv2020 {
  const ajv = new Ajv2020({ strict: true, strictRequired: false, ...options });
  ajv.addFormat('instant', (text: string) => !Number.isNaN(parseInstant(text)));
  return ajv;
}

/** Stops at the first error: for what fits, which is nearly everything. */
const quick = makeAjv({});
/** Finds every error and what it was found in: run again only over what does not fit. */
const thorough = makeAjv({ allErrors: true, verbose: true });

/**
 * Problems of a value held against the schema of a kind; empty when it fits. At most 20 are told.
 * @example problemsOf('reading', { kind: 'reading', terminal: 'a/1', takenAt: '2026-05-04T10:15:30Z' })[0].what // 'angleDeg or voltageV is needed'
 */
export const problemsOf = (kind: Kind, value: unknown): readonly Problem[] => problemsAgainst(schemas[kind], value);

/** The same for a schema that is not one of a record. */
export function problemsAgainst(schema: TSchema, value: unknown): readonly Problem[] {
  // Ajv keeps what it has compiled by the schema object.
  if (quick.compile(schema)(value)) return NONE;
  const validate = thorough.compile(schema);
  return validate(value) ? NONE : toldProblems(validate.errors ?? []);
}

const NONE: readonly Problem[] = Object.freeze([]);
