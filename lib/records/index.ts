/** The message contract: one schema per kind, the source of both the type and the validator. */
import { Alert } from './alert';
import { Comparison } from './comparison';
import { Correction } from './correction';
import { Identification } from './identification';
import { Plan } from './plan';
import { Reading } from './reading';
import { Rejection } from './rejection';
import { Replay } from './replay';
import { Rotation } from './rotation';
import { Trace } from './trace';

export * from './alert';
export * from './comparison';
export * from './correction';
export * from './envelope';
export * from './identification';
export * from './plan';
export * from './reading';
export * from './rejection';
export * from './replay';
export * from './rotation';
export * from './trace';

export const schemas = {
  reading: Reading,
  identification: Identification,
  rotation: Rotation,
  comparison: Comparison,
  trace: Trace,
  plan: Plan,
  correction: Correction,
  replay: Replay,
  alert: Alert,
  rejection: Rejection,
} as const;

/** What a node concluded of readings; it has a verdict. */
export type Judgement = Identification | Rotation | Comparison;
/** What was concluded, by a node or by a person. */
export type Finding = Judgement | Trace | Plan | Correction | Replay;
export type PhaseloomRecord = Reading | Finding | Alert | Rejection;
export type Kind = PhaseloomRecord['kind'];
