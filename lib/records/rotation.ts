/** The order in which three conductors reach their crest, seen in a stated viewing order. */
import { type Static, Type } from '@sinclair/typebox';
import { Name, Reason, recordSchema } from './envelope';

const Magnitude = Type.Object({ magnitude: Type.Number(), angleDeg: Type.Number() });

export const Rotation = recordSchema(
  'rotation',
  'Phase rotation of three conductors in viewing order, or why it is not proven.',
  {
    site: Name('site'),
    terminals: Type.Array(Name('terminal, in viewing order'), { minItems: 3, maxItems: 3 }),
    viewing: Type.String({ description: 'e.g. left-to-right, road-to-field' }),
    verdict: Type.Union([Type.Literal('decided'), Type.Literal('not-proven')]),
    sequence: Type.Union([Type.Literal('ABC'), Type.Literal('ACB'), Type.Null()], {
      description: 'ABC: each conductor lags the one before it by 120 degrees (positive sequence)',
    }),
    turns: Type.Union([Type.Literal('clockwise'), Type.Literal('counter-clockwise'), Type.Null()]),
    recordedSequence: Type.Union([Type.Literal('ABC'), Type.Literal('ACB'), Type.Null()]),
    agreesWithRecord: Type.Union([Type.Boolean(), Type.Null()]),
    anglesDeg: Type.Array(Type.Number()),
    probability: Type.Number(),
    components: Type.Union([
      Type.Object({ zero: Magnitude, positive: Magnitude, negative: Magnitude, magnitudesMeasured: Type.Boolean() }),
      Type.Null(),
    ]),
    unbalance: Type.Union([
      Type.Object({
        negativeSequencePct: Type.Number(),
        lineVoltagePct: Type.Number(),
        deratingFactor: Type.Union([Type.Number(), Type.Null()]),
      }),
      Type.Null(),
    ]),
    reasons: Type.Array(Reason),
  },
);
export type Rotation = Readonly<Static<typeof Rotation>>;
