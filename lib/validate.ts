/** The validators of the message contract, made by Ajv from the same schemas that give the types. */
import type { ErrorObject, ValidateFunction } from 'ajv';
import Ajv2020 from 'ajv/dist/2020';
import { parseInstant } from './instant';
import { type Kind, type Problem, schemas } from './records';

const ajv = new Ajv2020({ allErrors: true, strict: true, strictRequired: false, verbose: true });
ajv.addFormat('instant', (text: string) => !Number.isNaN(parseInstant(text)));

const validators = new Map<Kind, ValidateFunction>();

function validatorOf(kind: Kind): ValidateFunction {
  const known = validators.get(kind);
  if (known) return known;
  const made = ajv.compile(schemas[kind]);
  validators.set(kind, made);
  return made;
}

/** Problems of a value held against the schema of a kind; empty when it fits. At most 20 are told. */
export function problemsOf(kind: Kind, value: unknown): readonly Problem[] {
  const validate = validatorOf(kind);
  if (validate(value)) return [];
  return (validate.errors ?? [])
    .filter((e) => e.keyword !== 'anyOf' || !e.schemaPath.includes('properties'))
    .slice(0, 20)
    .map(problem);
}

function problem(e: ErrorObject): Problem {
  const at = e.keyword === 'required' ? `${e.instancePath}/${e.params.missingProperty}` : e.instancePath;
  const what = e.keyword === 'required' ? 'is missing' : `${shown(e.data)} ${e.message ?? 'does not fit'}`;
  return {
    at,
    code: `schema-${e.keyword.toLowerCase()}`,
    what: what.slice(0, 1000),
    expected: expectation(e).slice(0, 1000),
  };
}

function expectation(e: ErrorObject): string {
  const described = (e.parentSchema as { description?: string } | undefined)?.description;
  if (e.keyword === 'format') return 'an RFC 3339 instant such as 2026-05-04T10:15:30.250000Z';
  if (e.keyword === 'const') return JSON.stringify(e.params.allowedValue);
  return described ?? e.message ?? e.keyword;
}

function shown(data: unknown): string {
  const text = JSON.stringify(data) ?? String(data);
  return text.length > 80 ? `${text.slice(0, 77)}...` : text;
}
