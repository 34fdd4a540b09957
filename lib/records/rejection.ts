/** Something that arrived and could not be used, kept with what was wrong, where, and what would be right. */
import { type Static, Type } from '@sinclair/typebox';
import { Name, recordSchema } from './envelope';

export const Problem = Type.Object({
  at: Type.String({ description: 'JSON Pointer into the payload, or the empty string for the whole' }),
  code: Type.String({ pattern: '^[a-z0-9-]+$' }),
  what: Type.String({ maxLength: 1000 }),
  expected: Type.String({ maxLength: 1000 }),
});
export type Problem = Static<typeof Problem>;

export const Rejection = recordSchema('rejection', 'Something that arrived and could not be used.', {
  source: Name('topic or door it came through'),
  terminal: Type.Union([Name('terminal, when it could be read'), Type.Null()]),
  stage: Type.Union([Type.Literal('front-door'), Type.Literal('screen')]),
  problems: Type.Array(Problem, { minItems: 1, maxItems: 50 }),
  bytes: Type.Integer({ minimum: 0 }),
  excerpt: Type.String({ maxLength: 4096, description: 'the start of what arrived, as text' }),
});
export type Rejection = Readonly<Static<typeof Rejection>>;
