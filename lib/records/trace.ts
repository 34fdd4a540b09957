/** What the evidence says about a whole feeder: labels to correct, suspected crossings, contradictions, and where to read next. */
import { type Static, Type } from '@sinclair/typebox';
import { Instant, Name, recordSchema } from './envelope';

const Probability = (description: string) => Type.Number({ minimum: 0, maximum: 1, description });
const Count = (description: string) => Type.Integer({ minimum: 0, description });

export const TraceLabel = Type.Object({
  section: Name('section'),
  recorded: Type.Array(Name('phase label'), {
    description: 'conductors present, as the record says, with the corrections that people accepted',
  }),
  phases: Type.Array(Name('phase label'), { description: 'the same conductors, as the evidence says' }),
  probability: Probability('of these phases together'),
  rowDigest: Type.Optional(
    Name("digest of the feeder document's rows that the label is told from; a decision holds while they stand"),
  ),
});
export type TraceLabel = Static<typeof TraceLabel>;

export const TraceDecided = Type.Object({
  section: Name('section'),
  recorded: Type.Array(Name('phase label'), { description: 'conductors present, as the feeder document says' }),
  phases: Type.Array(Name('phase label'), { description: 'what was accepted, or refused, for them' }),
  probability: Probability('of these phases together, now'),
  contradicted: Type.Optional(
    Type.Boolean({
      description: 'true: accepted, and a correction of it is offered by now; files of what was accepted leave it out',
    }),
  ),
  rowDigest: Type.Optional(Name('as in a label')),
  by: Name('who decided'),
  decidedAt: Instant(),
  correction: Name('id of the record of the decision'),
});
export type TraceDecided = Static<typeof TraceDecided>;

export const TraceSuspect = Type.Object({
  mass: Type.Number({ minimum: 0, description: 'expected number of crossings among these sections' }),
  sections: Type.Array(
    Type.Object({ section: Name('section'), probability: Probability('that it carries a change') }),
    {
      description: 'smallest set that holds 95 %, most probable first',
    },
  ),
});
export type TraceSuspect = Static<typeof TraceSuspect>;

export const TraceCorrection = Type.Object({
  cause: Type.Object({
    section: Name('section at which the conductors most probably cross'),
    probability: Probability('that it is exactly this section'),
    change: Type.String({ description: 'what happens there, in words' }),
  }),
  labels: Type.Array(TraceLabel, { description: 'each with probability 0.95 or more' }),
  from: Type.Array(Name('id of a record of evidence')),
});
export type TraceCorrection = Static<typeof TraceCorrection>;

export const TraceSite = Type.Object({
  section: Name('section'),
  tagProbability: Probability('that only the tags of this site are in another order than the record says'),
  faultProbability: Probability('that the readings of this site say nothing'),
  from: Type.Array(Name('id of a record of evidence')),
});
export type TraceSite = Static<typeof TraceSite>;

export const TraceConflict = Type.Object({
  what: Type.Union([Type.Literal('loop'), Type.Literal('tie')]),
  id: Name('switch, closing section or open point'),
  support: Type.Number({
    minimum: 0,
    description: 'probability of what closes the loop or was compared, by all other evidence',
  }),
  why: Type.String({ description: 'one sentence for people' }),
});
export type TraceConflict = Static<typeof TraceConflict>;

export const TraceSuggestion = Type.Object({
  section: Name('section'),
  terminals: Type.Array(Name('terminal')),
  settles: Type.Number({ minimum: 0, description: 'labels in doubt that hang on it, or bits, as `by` says' }),
  by: Type.Union([Type.Literal('labels-below'), Type.Literal('information')]),
  why: Type.String({ description: 'one sentence for people' }),
});
export type TraceSuggestion = Static<typeof TraceSuggestion>;

export const Trace = recordSchema('trace', 'What the evidence says about the phases of a whole feeder.', {
  feeder: Name('feeder'),
  exactness: Type.Union([Type.Literal('exact'), Type.Literal('approximate')]),
  leftOut: Type.Array(Name('loop or tie that was not reckoned with')),
  coverage: Type.Object({
    sections: Count('all that are fed'),
    measured: Count('sections with evidence'),
    settled: Count('sections whose phases have probability 0.99 or more'),
    disagreeing: Count('sections whose likeliest phases are not those recorded, accepted corrections included'),
    unfed: Count('sections that nothing feeds'),
  }),
  corrections: Type.Array(TraceCorrection, { description: 'offered: nobody decided about them on this evidence' }),
  accepted: Type.Optional(
    Type.Array(TraceDecided, {
      description:
        'taken as recorded in this trace, because a person accepted them; the feeder document does not say so yet',
    }),
  ),
  refused: Type.Optional(
    Type.Array(TraceDecided, {
      description: 'not offered again: a person refused them, and no evidence has come since',
    }),
  ),
  suspects: Type.Array(TraceSuspect),
  sites: Type.Array(TraceSite, { description: 'sites whose own fault explains their readings best' }),
  conflicts: Type.Array(TraceConflict),
  suggestions: Type.Array(TraceSuggestion),
});
export type Trace = Readonly<Static<typeof Trace>>;
