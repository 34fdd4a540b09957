/** The two sides of an open point held against each other. */
import { type Static, Type } from '@sinclair/typebox';
import { Name, Reason, recordSchema } from './envelope';

export const PairMeasure = Type.Object({
  left: Name('terminal'),
  right: Name('terminal'),
  differenceDeg: Type.Number({ description: 'left minus right as read, -180 to 180' }),
  sdDeg: Type.Union([Type.Number(), Type.Null()], {
    description:
      'null: the common time is not proven, or something forbids any verdict; the difference may then be wrong by anything',
  }),
  gapV: Type.Union([Type.Number(), Type.Null()]),
  gapUpperV: Type.Union([Type.Number(), Type.Null()]),
});
export type PairMeasure = Static<typeof PairMeasure>;

export const Comparison = recordSchema(
  'comparison',
  'Whether the two sides of an open point are the same phase, or why that is not proven.',
  {
    openPoint: Name('open point'),
    verdict: Type.Union([Type.Literal('same-phase'), Type.Literal('not-the-same-phase'), Type.Literal('not-proven')]),
    landing: Type.Union([Type.Literal('straight'), Type.Literal('rolled'), Type.Literal('swapped'), Type.Null()]),
    belongs: Type.Array(Type.Object({ left: Name('terminal'), right: Name('terminal'), landedOn: Name('terminal') }), {
      description: 'which right terminal carries the same phase as each left one, and which it faces',
    }),
    pairs: Type.Array(PairMeasure, { description: 'as landed, facing terminals' }),
    probability: Type.Number({ minimum: 0, maximum: 1, description: 'of the landing; 0 when not told' }),
    standingAngleDeg: Type.Union([Type.Number(), Type.Null()]),
    standingAngleUpperDeg: Type.Union([Type.Number(), Type.Null()]),
    toleranceDeg: Type.Number(),
    proof: Type.Union([
      Type.Literal('common-conductor'),
      Type.Literal('attested-time'),
      Type.Literal('same-instrument'),
      Type.Null(),
    ]),
    reasons: Type.Array(Reason),
  },
);
export type Comparison = Readonly<Static<typeof Comparison>>;
