/** The config node "reference": a station, or a proven conductor, that others are read against. */
import type { Node, NodeAPI, NodeDef } from 'node-red';
import type { Reference } from '../../lib/frame';
import { pathProblems } from '../../lib/network';
import type { Connection } from '../../lib/records';
import type { ReferenceNode } from '../kit/config-nodes';
import { type NumberSetting, numberOr, oneOf } from '../kit/config-values';
import { asError, Trouble } from '../kit/trouble';

interface ReferenceDef extends NodeDef {
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

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-reference', function (this: Node & ReferenceNode, def: ReferenceDef) {
    RED.nodes.createNode(this, def);
    Object.assign(this, read(def));
    if (this.problem) this.error(this.problem);
  });
};

function read(def: ReferenceDef): ReferenceNode {
  try {
    return { reference: referenceOf(def), problem: undefined };
  } catch (cause) {
    return { reference: undefined, problem: asError(cause).message };
  }
}

function referenceOf(def: ReferenceDef): Reference {
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
