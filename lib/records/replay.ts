/** That stored readings were sent through the flow again: by whom, why, and which. What came of it are findings of their own. */
import { type Static, Type } from '@sinclair/typebox';
import { Instant, Name, recordSchema } from './envelope';

export const Replay = recordSchema('replay', 'An order to send stored readings through the flow again.', {
  subject: Name('what the readings are about, as it was asked; / for everything'),
  by: Name('who ordered it'),
  why: Type.String({ minLength: 1, maxLength: 2000 }),
  instrumentId: Type.Optional(Name('only readings of this instrument')),
  fromInstant: Type.Optional(Instant()),
  toInstant: Type.Optional(Instant()),
  readings: Type.Integer({ minimum: 0, description: 'how many there were when it was ordered' }),
});
export type Replay = Readonly<Static<typeof Replay>>;
