/** What the editor saved of a reference, as the library's. */
import type { NodeDef } from 'node-red';
import type { Reference } from '../../lib/frame';
import { pathProblems } from '../../lib/network';
import type { Connection } from '../../lib/records';
import { type NumberSetting, numberOr, oneOf } from './config-values';
import { Trouble } from './trouble';

export interface ReferenceDef extends NodeDef {
  referenceId: string;
  terminal: string;
  phase: string;
  connection: string;
  offsetDeg: NumberSetting;
  offsetSdDeg: NumberSetting;
  path: string;
}

const CONNECTIONS: [Connection, ...Connection[]] = [
  'phase-neutral',
  'phase-neutral-reversed',
  'phase-phase',
  'phase-phase-reversed',
];

/** @throws Trouble 'config' that says what is wrong and what would be right */
export function referenceOf(def: ReferenceDef): Reference {
  const id = (def.referenceId ?? '').trim();
  if (id === '' || id === 'utc') {
    throw new Trouble('config', `reference id is ${JSON.stringify(id)}; it must be a name of its own, such as SUB-1`);
  }
  const terminal = (def.terminal ?? '').trim();
  const path = pathOf(def.path);
  const [problem] = pathProblems(path, `reference ${id}`);
  if (problem) throw new Trouble('config', problem);
  return {
    id,
    phase: (def.phase ?? '').trim(),
    connection: oneOf('connection', def.connection, CONNECTIONS),
    offsetDeg: numberOr(0, 'offsetDeg', def.offsetDeg, { least: -360, most: 360 }),
    offsetSdDeg: numberOr(1, 'offsetSdDeg', def.offsetSdDeg, { least: 0, most: 180 }),
    ...(terminal === '' ? {} : { terminal }),
    ...(path === undefined ? {} : { path }),
  };
}

/** Empty: not stated. "none": no transformer is passed. */
function pathOf(given: string | undefined): readonly string[] | undefined {
  const text = (given ?? '').trim();
  if (text === '') return undefined;
  return text === 'none' ? [] : text.split(/[\s,]+/);
}
