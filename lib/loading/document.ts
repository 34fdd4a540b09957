/** A loading document of unknown origin, checked. */
import { Type } from '@sinclair/typebox';
import { FeederSchema } from '../feeder/io/document';
import { Name, SCHEMA_BASE } from '../records/envelope';
import { problemsAgainst } from '../validate';
import { type Loading, type LoadingDocument, makeLoading } from './model';

const optional = Type.Optional;
const Series = (description: string) =>
  Type.Union([Type.Number({ description }), Type.Array(Type.Number(), { description: 'one for each snapshot' })]);

export const LoadEntrySchema = Type.Object({
  id: Name('load'),
  section: Name('section'),
  phases: Type.Array(Name('phase label'), { maxItems: 3, description: 'empty when not known' }),
  kW: optional(Series('kilowatts')),
  kvar: optional(Series('kilovars')),
  amperes: optional(Series('of one phase')),
  powerFactor: optional(Type.Number({ description: 'lagging positive' })),
  toNeutral: optional(Type.Boolean({ description: 'on two phases: each to neutral' })),
  movable: optional(Type.Boolean()),
  cost: optional(Type.Number({ description: 'of one move' })),
  threePhase: optional(Type.Boolean({ description: 'supplies a three-phase customer: phases are only rolled' })),
  terminals: optional(Type.Array(Name('terminal'), { description: 'in the order of phases' })),
});

const Lateral = Type.Object({
  section: Name('first section of what moves as a whole'),
  cost: optional(Type.Number()),
  threePhase: optional(Type.Boolean()),
  terminals: optional(Type.Array(Name('terminal'))),
});

export const LoadingSchema = Type.Object(
  {
    ...Type.Omit(FeederSchema, ['loads']).properties,
    voltageV: Type.Number({ description: 'nominal, phase to neutral, volts' }),
    voltageBelowV: optional(
      Type.Record(
        Type.String(),
        Type.Number({ exclusiveMinimum: 0, description: 'the same below a transformer, by its id' }),
      ),
    ),
    loads: Type.Array(LoadEntrySchema),
    laterals: optional(Type.Array(Lateral)),
    snapshots: optional(
      Type.Array(
        Type.Object({
          id: Name('snapshot'),
          weight: optional(Type.Number({ exclusiveMinimum: 0, description: 'e.g. hours' })),
        }),
        { minItems: 1 },
      ),
    ),
    betweenPhases: optional(Type.Union([Type.Literal('as-drawn'), Type.Literal('evenly')])),
    resistanceOhm: optional(Type.Record(Type.String(), Type.Number({ description: 'ohms of one phase conductor' }))),
  },
  {
    $id: `${SCHEMA_BASE}loading.schema.json`,
    $schema: 'https://json-schema.org/draft/2020-12/schema',
    description: 'A feeder with its loads, and what of them may be moved.',
  },
);

export type LoadingRead =
  | { readonly ok: true; readonly loading: Loading }
  | { readonly ok: false; readonly problems: readonly string[] };

/**
 * Reads a loading document from a JSON text or a value, and checks it. The problems are sentences: where, what, what would be right.
 * @example readLoading('nonsense').ok // false
 */
export function readLoading(given: unknown): LoadingRead {
  let value = given;
  if (typeof given === 'string') {
    try {
      value = JSON.parse(given);
    } catch (cause) {
      return { ok: false, problems: [`not JSON: ${(cause as Error).message}`] };
    }
  }
  const problems = problemsAgainst(LoadingSchema, value);
  if (problems.length > 0) {
    return { ok: false, problems: problems.map((p) => `${p.at || '/'}: ${p.what}; expected ${p.expected}`) };
  }
  try {
    return { ok: true, loading: makeLoading(value as LoadingDocument) };
  } catch (cause) {
    if (!(cause instanceof RangeError)) throw cause;
    return { ok: false, problems: cause.message.split('\n').slice(1) };
  }
}
