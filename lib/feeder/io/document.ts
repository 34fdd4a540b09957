/** The feeder document as a JSON schema, and a reader of JSON. */
import { Type } from '@sinclair/typebox';
import { Name, SCHEMA_BASE } from '../../records/envelope';
import { problemsAgainst } from '../../validate';
import { CHANGE_PRIOR, type FeederDocument, type SectionKind } from '../model';
import { checked, type FeederRead } from './read';

const optional = Type.Optional;
const Phases = (description: string) => Type.Array(Name('phase label'), { minItems: 1, maxItems: 3, description });

const conductors = {
  id: Name('section'),
  from: Name('node'),
  to: Name('node'),
  phases: Phases('recorded phases of the conductors present, in recorded conductor order'),
  changePrior: optional(
    Type.Number({ exclusiveMinimum: 0, exclusiveMaximum: 0.5, description: 'overrides the one of its kind' }),
  ),
  lengthM: optional(Type.Number({ minimum: 0, description: 'metres' })),
  position: optional(Type.Object({ lat: Type.Number(), lon: Type.Number() }, { description: 'of the far end' })),
};

export const FeederSchema = Type.Object(
  {
    id: Name('feeder'),
    name: optional(Type.String()),
    phases: optional(Type.Array(Name('phase label'), { minItems: 3, maxItems: 3, description: 'in order of crest' })),
    source: Name('node from which it is fed'),
    sections: Type.Array(
      Type.Object({
        ...conductors,
        kind: optional(Type.Union((Object.keys(CHANGE_PRIOR) as SectionKind[]).map((k) => Type.Literal(k)))),
      }),
    ),
    transformers: optional(
      Type.Array(Type.Object({ ...conductors, vectorGroup: Name("e.g. Dyn11, 'centre-tap' or 'unknown'") })),
    ),
    switches: optional(Type.Array(Type.Object({ ...conductors, closed: Type.Boolean() }))),
    terminals: optional(
      Type.Array(
        Type.Object({
          id: Name('terminal of the network'),
          section: Name('section at whose far end it is'),
          phase: Name('recorded phase of the conductor it touches'),
          site: optional(Name('site')),
          reversed: optional(Type.Boolean({ description: 'the voltage read stands opposite' })),
        }),
      ),
    ),
    loads: optional(
      Type.Array(
        Type.Object({
          id: Name('load'),
          section: Name('section'),
          phases: Phases('phases it is connected to'),
          kw: Type.Number({ description: 'kilowatts' }),
          kvar: optional(Type.Number({ description: 'kilovars' })),
        }),
      ),
    ),
  },
  {
    $id: `${SCHEMA_BASE}feeder.schema.json`,
    $schema: 'https://json-schema.org/draft/2020-12/schema',
    description: 'A feeder as its records have it: sections, transformers, switches, terminals, loads.',
  },
);

/**
 * A feeder of unknown origin, held against the schema and then walked.
 * @example readFeeder({ id: 'F', source: 'n0' }).problems // ['/sections: is missing; expected a member sections']
 */
export function readFeeder(value: unknown): FeederRead {
  const problems = problemsAgainst(FeederSchema, value);
  if (problems.length > 0) {
    return { ok: false, problems: problems.map((p) => `${p.at || '/'}: ${p.what}; expected ${p.expected}`) };
  }
  return checked(value as FeederDocument);
}

/** The same from a text. */
export function readFeederJson(text: string): FeederRead {
  try {
    return readFeeder(JSON.parse(text));
  } catch (cause) {
    return { ok: false, problems: [`not JSON: ${(cause as Error).message}`] };
  }
}
