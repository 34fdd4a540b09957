/** The message contract: one schema per kind, the source of both the type and the validator. */
import { Alert } from './alert';
import { Comparison } from './comparison';
import { Identification } from './identification';
import { Plan } from './plan';
import { Reading } from './reading';
import { Rejection } from './rejection';
import { Rotation } from './rotation';
import { Trace } from './trace';

export * from './alert';
export * from './comparison';
export * from './envelope';
export * from './identification';
export * from './plan';
export * from './reading';
export * from './rejection';
export * from './rotation';
export * from './trace';

export const schemas = {
  reading: Reading,
  identification: Identification,
  rotation: Rotation,
  comparison: Comparison,
  trace: Trace,
  plan: Plan,
  alert: Alert,
  rejection: Rejection,
} as const;

/** What a node concluded. */
export type Finding = Identification | Rotation | Comparison;
export type PhaseloomRecord = Reading | Finding | Trace | Plan | Alert | Rejection;
export type Kind = PhaseloomRecord['kind'];
