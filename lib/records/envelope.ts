/** What every record carries, whatever its kind. */
import { type Static, type TProperties, Type } from '@sinclair/typebox';

export const SCHEMA_BASE = 'https://phaseloom.github.io/schemas/';

/** RFC 3339 instant in UTC with up to nanosecond digits; held to the microsecond. */
export const Instant = () =>
  Type.String({
    format: 'instant',
    maxLength: 40,
    description: 'RFC 3339 instant, UTC, e.g. 2026-05-04T10:15:30.250000Z',
  });

export const Name = (description: string) => Type.String({ minLength: 1, maxLength: 200, description });

/** The frame a finding was made in: the id a person gave it and a revision derived from its content. */
export const FrameStamp = Type.Object({
  id: Name('frame id'),
  revision: Name('derived from the content of the frame'),
});
export type FrameStamp = Static<typeof FrameStamp>;

/**
 * Why something could not be decided, or was decided with a reservation.
 * `settle` says what reading or setting would settle it.
 */
export const Reason = Type.Object({
  code: Type.String({ pattern: '^[a-z0-9-]+$', description: 'stable, for programs' }),
  why: Type.String({ description: 'one sentence for people' }),
  settle: Type.Optional(Type.String({ description: 'what would settle it' })),
});
export type Reason = Static<typeof Reason>;

/** A record schema of the given kind with the common head. */
export function recordSchema<K extends string, P extends TProperties>(kind: K, description: string, properties: P) {
  return Type.Object(
    {
      kind: Type.Literal(kind),
      id: Name('derived from what the record says: the same finding has the same id'),
      at: Instant(),
      from: Type.Array(Name('id of a record this one rests on')),
      frame: Type.Optional(FrameStamp),
      caution: Type.Optional(Type.String({ description: 'what a person must not conclude from this record' })),
      ...properties,
    },
    { $id: `${SCHEMA_BASE}${kind}.schema.json`, $schema: 'https://json-schema.org/draft/2020-12/schema', description },
  );
}
