/** A condition somebody must look at, in the life cycle of IEC 62682 / ISA-18.2. */
import { type Static, Type } from '@sinclair/typebox';
import { FrameStamp, Instant, Name, recordSchema } from './envelope';

export const AlertState = Type.Union([
  Type.Literal('normal'),
  Type.Literal('unacknowledged'),
  Type.Literal('acknowledged'),
  Type.Literal('returned-unacknowledged'),
  Type.Literal('shelved'),
  Type.Literal('suppressed-by-design'),
  Type.Literal('out-of-service'),
]);
export type AlertState = Static<typeof AlertState>;

export const AlertCategory = Type.Union([
  Type.Literal('tie-mismatch'),
  Type.Literal('record-conflict'),
  Type.Literal('rotation-conflict'),
  Type.Literal('reference-doubt'),
  Type.Literal('instrument-doubt'),
  Type.Literal('network-conflict'),
  Type.Literal('alert-flood'),
]);
export type AlertCategory = Static<typeof AlertCategory>;

export const Priority = Type.Union([Type.Literal('high'), Type.Literal('medium'), Type.Literal('low')]);
export type Priority = Static<typeof Priority>;

/** A statement that contradicts what the alert says, and has not yet stood for as long as the delay asks. */
export const PendingStatement = Type.Object({
  active: Type.Boolean(),
  says: Type.String(),
  text: Type.String(),
  priority: Priority,
  from: Type.Array(Name('id of a record this one rests on')),
  frame: Type.Optional(FrameStamp),
  since: Instant(),
  evidenceAt: Instant(),
  dueAt: Type.String({ format: 'instant', description: 'when it comes to hold unless contradicted before' }),
  endsAfterS: Type.Optional(Type.Number({ description: 'once it holds, it is taken for gone when not said again' })),
});
export type PendingStatement = Static<typeof PendingStatement>;

export const Alert = recordSchema('alert', 'A condition somebody must look at.', {
  key: Name('category and subject: one alert per key'),
  category: AlertCategory,
  subject: Name('terminal, site, open point or reference'),
  priority: Priority,
  state: AlertState,
  active: Type.Boolean({ description: 'the condition is present now, whatever the state' }),
  transition: Name('what brought it to this state: raised, repeated, returned, acknowledged, shelved, unshelved, ...'),
  revision: Type.Integer({ minimum: 1, description: 'counts the transitions of this alert' }),
  text: Type.String(),
  says: Type.Optional(
    Type.String({ description: 'the statement without its figures: the same one again does not call again' }),
  ),
  since: Instant(),
  evidenceAt: Instant(),
  pending: Type.Optional(PendingStatement),
  count: Type.Integer({ minimum: 1, description: 'how many times it was raised since it was last normal' }),
  by: Type.Optional(Name('who made the transition')),
  comment: Type.Optional(Type.String({ maxLength: 2000 })),
  shelvedUntil: Type.Optional(Instant()),
});
export type Alert = Readonly<Static<typeof Alert>>;
