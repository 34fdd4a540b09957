/**
 * Records as rows of a table. The columns come from the schemas of the kinds, in their order: members of members are joined by `_`
 * (instrument_id), lists stay JSON, and what a schema does not know stands as JSON in the last column, `more`.
 */
import { type Kind, type PhaseloomRecord, schemas } from '../../lib/records';

export type CellType = 'text' | 'number' | 'integer' | 'boolean' | 'instant' | 'json';
export type Cell = string | number | boolean | null;

export interface Column {
  readonly name: string;
  readonly type: CellType;
  readonly path: readonly string[];
}

interface Schema {
  readonly type?: string;
  readonly format?: string;
  readonly const?: unknown;
  readonly properties?: Readonly<Record<string, Schema>>;
  readonly anyOf?: readonly Schema[];
}

const MORE: Column = { name: 'more', type: 'json', path: [] };

/** Columns of a table that holds these kinds; a column that several kinds have stands once. */
export function columnsOf(kinds: readonly Kind[]): Column[] {
  const columns = new Map<string, Column>();
  for (const kind of kinds) {
    for (const column of leaves(schemas[kind] as Schema, [])) {
      if (!columns.has(column.name)) columns.set(column.name, column);
    }
  }
  return [...columns.values(), MORE];
}

export function rowOf(record: PhaseloomRecord, columns: readonly Column[]): Cell[] {
  const cells = columns.map(({ path, type }) => (path.length === 0 ? null : cell(valueAt(record, path), type)));
  const more = unknownTo(schemas[record.kind] as Schema, record as unknown as Record<string, unknown>);
  if (more) cells[columns.length - 1] = JSON.stringify(more);
  return cells;
}

function leaves(schema: Schema, path: readonly string[]): Column[] {
  return Object.entries(schema.properties ?? {}).flatMap(([name, member]) => {
    const here = [...path, name];
    return member.properties ? leaves(member, here) : [{ name: here.join('_'), type: typeOf(member), path: here }];
  });
}

function typeOf(schema: Schema): CellType {
  if (schema.format === 'instant') return 'instant';
  if (schema.anyOf) {
    const types = new Set(schema.anyOf.filter((s) => s.type !== 'null').map(typeOf));
    return types.size === 1 ? [...types][0]! : 'json';
  }
  if (schema.type === 'number' || schema.type === 'integer' || schema.type === 'boolean') return schema.type;
  return schema.type === 'string' ? 'text' : 'json';
}

function valueAt(value: unknown, path: readonly string[]): unknown {
  return path.reduce<unknown>((v, name) => (v as Record<string, unknown> | null | undefined)?.[name], value);
}

function cell(value: unknown, type: CellType): Cell {
  if (value === undefined || value === null) return null;
  return type === 'json' ? JSON.stringify(value) : (value as Cell);
}

/** The members that have no column, in the shape they had; undefined when there are none. */
function unknownTo(schema: Schema, record: Record<string, unknown>): Record<string, unknown> | undefined {
  const rest: Record<string, unknown> = {};
  for (const [name, value] of Object.entries(record)) {
    const member = schema.properties?.[name];
    if (!member) rest[name] = value;
    else if (member.properties && value) {
      const inner = unknownTo(member, value as Record<string, unknown>);
      if (inner) rest[name] = inner;
    }
  }
  return Object.keys(rest).length > 0 ? rest : undefined;
}
