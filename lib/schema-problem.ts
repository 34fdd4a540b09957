/** What a schema found wrong, in words: what, where, and what would be right. */
import type { ErrorObject } from 'ajv';
import type { Problem } from './records';

interface SchemaPart {
  readonly description?: string;
  readonly properties?: Readonly<Record<string, SchemaPart>>;
  readonly anyOf?: readonly SchemaPart[];
  readonly required?: readonly string[];
  readonly const?: unknown;
  readonly type?: string;
}

const MOST_PROBLEMS = 20;

/** One problem for each thing that is wrong, at most 20: where alternatives are allowed, one problem names them all. */
export function toldProblems(errors: readonly ErrorObject[]): readonly Problem[] {
  const choices = errors.filter((e) => e.keyword === 'anyOf');
  const isBranch = (e: ErrorObject) => choices.some((c) => isInside(e, c) && e.instancePath === c.instancePath);
  // An alternative that is wrong deeper down tells more than that none fits.
  const hasDeeper = (c: ErrorObject) => errors.some((e) => isInside(e, c) && e.instancePath !== c.instancePath);
  return errors
    .filter((e) => !isBranch(e) && !(e.keyword === 'anyOf' && hasDeeper(e)))
    .slice(0, MOST_PROBLEMS)
    .map(problem);
}

const isInside = (e: ErrorObject, choice: ErrorObject): boolean =>
  e.schemaPath.startsWith(`${choice.schemaPath}/`) && e.instancePath.startsWith(choice.instancePath);

function problem(e: ErrorObject): Problem {
  const at = e.keyword === 'required' ? `${e.instancePath}/${e.params.missingProperty}` : e.instancePath;
  return {
    at: at.slice(0, 500),
    code: `schema-${e.keyword.toLowerCase()}`,
    what: wrong(e).slice(0, 1000),
    expected: right(e).slice(0, 1000),
  };
}

function wrong(e: ErrorObject): string {
  const needed = neededOneOf(e);
  if (needed) return `${needed.join(' or ')} is needed`;
  switch (e.keyword) {
    case 'required':
      return 'is missing';
    case 'anyOf':
    case 'const':
      return `${shown(e.data)} is not one of the values allowed here`;
    case 'format':
      return `${shown(e.data)} is not an instant that exists`;
    default:
      return `${shown(e.data)} ${e.message ?? 'does not fit'}`;
  }
}

function right(e: ErrorObject): string {
  const part = e.parentSchema as SchemaPart;
  const needed = neededOneOf(e);
  if (needed) return `at least one of ${needed.join(', ')}`;
  switch (e.keyword) {
    case 'required':
      return part.properties?.[e.params.missingProperty]?.description ?? `a member ${e.params.missingProperty}`;
    case 'anyOf':
      return (part.anyOf ?? []).map(alternative).join(', ');
    case 'const':
      return JSON.stringify(e.params.allowedValue);
    case 'format':
      return 'an RFC 3339 instant such as 2026-05-04T10:15:30.250000Z';
    default:
      return `${RULE[e.keyword]?.(e.params) ?? e.message}${part.description ? `: ${part.description}` : ''}`;
  }
}

const RULE: Readonly<Record<string, (params: Record<string, unknown>) => string>> = {
  type: (p) => (p.type === 'string' ? 'text' : p.type === 'number' ? 'a finite number' : `${p.type}`),
  minimum: (p) => `at least ${p.limit}`,
  maximum: (p) => `at most ${p.limit}`,
  exclusiveMinimum: (p) => `more than ${p.limit}`,
  exclusiveMaximum: (p) => `less than ${p.limit}`,
  minLength: (p) => `text of at least ${p.limit} character${p.limit === 1 ? '' : 's'}`,
  maxLength: (p) => `text of at most ${p.limit} characters`,
  minItems: (p) => `at least ${p.limit} items`,
  maxItems: (p) => `at most ${p.limit} items`,
  pattern: (p) => `text of the form ${p.pattern}`,
};

/** The members of which at least one is needed, when that is what an error says. */
function neededOneOf(e: ErrorObject): string[] | undefined {
  const branches = e.keyword === 'anyOf' ? ((e.parentSchema as SchemaPart).anyOf ?? []) : [];
  const names = branches.flatMap((b) => (b.required && !b.type ? b.required : []));
  return names.length > 0 && names.length === branches.length ? names : undefined;
}

const alternative = (part: SchemaPart): string =>
  part.const === undefined ? (part.description ?? part.type ?? 'another form') : JSON.stringify(part.const);

function shown(data: unknown): string {
  const text = written(data);
  return text.length > 80 ? `${text.slice(0, 77)}...` : text;
}

/** Programs may give what JSON cannot: a bigint, or an object that holds itself. */
function written(data: unknown): string {
  if (typeof data === 'number' || typeof data === 'bigint') return String(data);
  try {
    return JSON.stringify(data) ?? String(data);
  } catch {
    return `${Array.isArray(data) ? 'an array' : 'an object'} that cannot be written as JSON`;
  }
}
