/** Which phase a conductor is, with how much doubt, or why that is not proven. */
import { type Static, Type } from '@sinclair/typebox';
import { Name, Reason, recordSchema } from './envelope';

/** How a measured voltage is formed from the phases at the reference's level. */
export const Connection = Type.Union([
  Type.Literal('phase-neutral'),
  Type.Literal('phase-neutral-reversed'),
  Type.Literal('phase-phase'),
  Type.Literal('phase-phase-reversed'),
]);
export type Connection = Static<typeof Connection>;

export const Candidate = Type.Object({
  phase: Name('phase label of the frame; for phase-to-phase the first of the two'),
  connection: Connection,
  slot: Type.Integer({ minimum: 0, maximum: 11, description: 'expected angle as a multiple of 30 degrees' }),
  probability: Type.Number({ minimum: 0, maximum: 1 }),
});
export type Candidate = Static<typeof Candidate>;

export const Identification = recordSchema('identification', 'Which phase a conductor is, or why that is not proven.', {
  terminal: Name('terminal'),
  site: Type.Optional(Name('site')),
  verdict: Type.Union([Type.Literal('confirmed'), Type.Literal('identified'), Type.Literal('not-proven')]),
  phase: Type.Union([Name('phase label'), Type.Null()]),
  connection: Type.Union([Connection, Type.Null()]),
  slot: Type.Union([Type.Integer({ minimum: 0, maximum: 11 }), Type.Null()]),
  probability: Type.Number({
    minimum: 0,
    maximum: 1,
    description: 'of the phase, or of the best candidate when not proven',
  }),
  candidates: Type.Array(Candidate, { description: 'best first' }),
  angleDeg: Type.Union([Type.Number(), Type.Null()]),
  expectedDeg: Type.Union([Type.Number(), Type.Null()]),
  residualDeg: Type.Union([Type.Number(), Type.Null()]),
  sdDeg: Type.Union([Type.Number(), Type.Null()]),
  reference: Type.Union([Name('reference id'), Type.Null()]),
  recordedPhase: Type.Union([Name('phase in the record'), Type.Null()]),
  agreesWithRecord: Type.Union([Type.Boolean(), Type.Null()]),
  reasons: Type.Array(Reason),
});
export type Identification = Readonly<Static<typeof Identification>>;
