/** What a person decided about a label that a trace contradicts. */
import { type Static, Type } from '@sinclair/typebox';
import { Name, recordSchema } from './envelope';

export const Correction = recordSchema('correction', 'A correction of the record, accepted or refused by a person.', {
  feeder: Name('feeder'),
  section: Name('section'),
  recorded: Type.Array(Name('phase label'), {
    description: 'conductors present, as recorded when it was decided: what holds when it is refused',
  }),
  phases: Type.Array(Name('phase label'), {
    description: 'the same conductors, as the trace says: what holds when it is accepted',
  }),
  rowDigest: Type.Optional(
    Name("digest of the feeder document's rows that it was decided on; when they change the decision is past"),
  ),
  probability: Type.Number({ minimum: 0, maximum: 1, description: 'of these phases together, in that trace' }),
  decision: Type.Union([Type.Literal('accepted'), Type.Literal('refused')]),
  by: Name('who decided'),
  comment: Type.Optional(Type.String({ maxLength: 2000 })),
});
export type Correction = Readonly<Static<typeof Correction>>;
