/** Moves that balance a feeder, in the order in which crews may do them, with what they are expected to change. */
import { type Static, Type } from '@sinclair/typebox';
import { Name, recordSchema } from './envelope';

const Phases = (description: string) => Type.Array(Name('phase label'), { minItems: 1, maxItems: 3, description });
const Figure = (description: string) => Type.Number({ description });
const orNull = (description: string) => Type.Union([Type.Number({ description }), Type.Null()]);

export const PlanMove = Type.Object({
  order: Type.Integer({
    minimum: 1,
    description: 'after this and all before it the watched sections stand as `unbalance` says',
  }),
  what: Type.Union([Type.Literal('load'), Type.Literal('lateral')]),
  id: Name('load, or first section of the lateral that moves as a whole'),
  section: Name('section at which the tap is'),
  from: Phases('phases it is on'),
  to: Phases('phases it is to be on, conductor by conductor'),
  knownBy: Type.Optional(
    Type.Union([Type.Literal('readings'), Type.Literal('record')], {
      description: 'whether readings prove the phases under from, or only the record says so',
    }),
  ),
  cost: Figure("in the user's unit"),
  unbalance: Figure('in the unit of the plan, after this move'),
  terminals: Type.Array(Name('terminal on which the move is confirmed, conductor by conductor')),
  rotationCheck: Type.Boolean({
    description: 'a three-phase customer hangs on it: check its rotation before and after',
  }),
  cautions: Type.Array(Type.String()),
  state: Type.Union([Type.Literal('open'), Type.Literal('confirmed'), Type.Literal('elsewhere')], {
    description:
      'open: no proof yet; confirmed: readings since the plan prove the phases; elsewhere: they prove other phases',
  }),
  found: Type.Optional(
    Type.Array(Type.Union([Name('phase label'), Type.Null()]), {
      description: 'what readings since the plan prove, null where nothing',
    }),
  ),
});
export type PlanMove = Static<typeof PlanMove>;

const Standing = Type.Object({
  unbalancePct: orNull('of the mean, kW'),
  neutralA: Figure('amperes in the neutral'),
  phases: Type.Optional(
    Type.Array(Type.Object({ phase: Name('phase label'), kW: Figure('kilowatts'), amperes: Figure('amperes') })),
  ),
});

export const PlanCurvePoint = Type.Object({
  moves: Type.Integer({ minimum: 0 }),
  unbalance: Figure('the best found with so many moves'),
  bound: orNull('with so many moves no plan is proven to be below; null without a solver'),
  proven: Type.Boolean(),
  greedy: Figure('what always taking the best next move reaches'),
});

/** A load whose phases nobody knows. */
export const PlanUndecided = Type.Object({
  id: Name('load'),
  section: Name('section'),
  kW: Figure('largest of the snapshots'),
  terminals: Type.Array(Name('terminal at which its phases would be read')),
});

export const PlanSection = Type.Object({
  section: Name('watched section'),
  snapshot: Name('snapshot'),
  before: Standing,
  after: Standing,
  undecidedKW: Type.Optional(Figure('kilowatts on phases that are not known, in neither')),
});
export type PlanSection = Static<typeof PlanSection>;

export const Plan = recordSchema('plan', 'The moves that balance the load of a feeder, and how far they are done.', {
  feeder: Name('feeder'),
  aim: Type.Object({
    kind: Type.Union([Type.Literal('best'), Type.Literal('limit'), Type.Literal('price')]),
    figure: Figure('most moves, the limit, or the price of one unit of cost'),
    measure: Type.Union([Type.Literal('kW'), Type.Literal('neutral')]),
    over: Type.Union([Type.Literal('worst'), Type.Literal('sum')]),
    unit: Type.String({ description: 'of before, after and the limit: % of the mean, kW, or A' }),
  }),
  before: Figure('unbalance with everything where it is'),
  after: Figure('unbalance after all moves'),
  cost: Figure('of all moves'),
  value: Figure('what was made small'),
  bound: orNull('no plan is proven to be below; null without a solver'),
  gapPct: orNull('(value - bound) of the value of doing nothing; for a limit of the value itself'),
  proven: Type.Boolean({ description: 'no better plan exists, by the bound' }),
  keepsLimit: Type.Boolean(),
  moves: Type.Array(PlanMove),
  sections: Type.Array(PlanSection),
  curve: Type.Optional(
    Type.Array(PlanCurvePoint, { description: 'what 0, 1, 2 .. moves can do, in the unit of the plan' }),
  ),
  stuckAt: Type.Optional(
    Type.Array(Name('section'), {
      description:
        'stays the worst, since so many moves cannot better it: nothing is moved, and what is unbalanced elsewhere was not looked at',
    }),
  ),
  losses: Type.Union([
    Type.Object({ beforeKW: Figure('weighted mean'), afterKW: Figure('weighted mean'), assumptions: Type.String() }),
    Type.Null(),
  ]),
  assumedInLine: Type.Optional(
    Type.Array(Name('transformer'), {
      description:
        'whose vector group is not recorded: each phase above was taken to feed the one with its label below',
    }),
  ),
  undecided: Type.Object({
    loads: Type.Integer({ minimum: 0, description: 'loads of unknown phase, left out of the plan' }),
    kW: Figure('largest of the snapshots'),
    list: Type.Optional(Type.Array(PlanUndecided)),
  }),
  basis: Type.Object({
    identified: Type.Integer({ minimum: 0, description: 'loads whose phases readings prove' }),
    recorded: Type.Integer({ minimum: 0, description: 'loads whose phases only the record says' }),
    leastProbability: Type.Optional(
      Type.Number({ minimum: 0, maximum: 1, description: 'of the phases that readings prove' }),
    ),
  }),
});
export type Plan = Readonly<Static<typeof Plan>>;
