/** What the editor saved of a frame, as the library's settings. */
import type { NodeDef } from 'node-red';
import { type Frame, type FrameSettings, makeFrame, type Reference } from '../../lib/frame';
import type { Connection } from '../../lib/records';
import { type NumberSetting, numberOr, oneOf } from './config-values';
import { Trouble } from './trouble';

/** Node-RED follows config nodes that stand in properties of their own, so the list of references is one. */
const REFERENCE_SLOTS = [
  'reference',
  'reference2',
  'reference3',
  'reference4',
  'reference5',
  'reference6',
  'reference7',
  'reference8',
] as const;

export interface FrameDef extends NodeDef, Partial<Record<(typeof REFERENCE_SLOTS)[number], string>> {
  frameId: string;
  phase1: string;
  phase2: string;
  phase3: string;
  sequence: string;
  zeroPhase: string;
  sense: string;
  nominalHz: NumberSetting;
  connections: readonly string[];
  readingSdDeg: NumberSetting;
  driftSdDeg: NumberSetting;
  unbalanceSdDeg: NumberSetting;
  grossErrorRate: NumberSetting;
  identified: NumberSetting;
  confirmed: NumberSetting;
  clockBudgetUs: NumberSetting;
  referenceMaxAgeS: NumberSetting;
  referenceMaxGapS: NumberSetting;
  /** a list of config node ids, for flows written by hand */
  references?: readonly string[];
}

export const referenceIdsOf = (def: FrameDef): string[] => [
  ...REFERENCE_SLOTS.flatMap((slot) => (def[slot] ? [def[slot]] : [])),
  ...(def.references ?? []),
];

const CONNECTIONS: readonly string[] = [
  'phase-neutral',
  'phase-neutral-reversed',
  'phase-phase',
  'phase-phase-reversed',
] satisfies Connection[];

type NumberName = {
  [K in keyof FrameDef]-?: NumberSetting extends FrameDef[K] ? K : never;
}[keyof FrameDef];

/** What is left empty is as the library has it. */
const DEFAULTS = makeFrame();

/** The frame of a definition and its references. @throws Trouble 'config' that says what is wrong and what would be right */
export function frameOf(def: FrameDef, references: readonly Reference[]): Frame {
  // A reference that names no phase stands on the zero phase.
  const stated = references.map(({ phase, ...rest }) => (phase === '' ? rest : { phase, ...rest }));
  const ids = references.map((r) => r.id);
  const twice = ids.find((id, i) => ids.indexOf(id) !== i);
  if (twice) throw new Trouble('config', `frame ${def.frameId}: reference ${twice} is chosen twice`);
  return makeFrame({ ...settingsOf(def), references: stated });
}

/** @throws Trouble 'config' that names the setting and what would be right */
function settingsOf(def: FrameDef): Omit<FrameSettings, 'references'> {
  const [first, second, third] = [def.phase1 || 'A', def.phase2 || 'B', def.phase3 || 'C'].map((p) => p.trim());
  const reversed = oneOf('sequence', def.sequence, ['123', '132']) === '132';
  const number = (name: NumberName, otherwise: number, least: number, most: number) =>
    numberOr(otherwise, name, def[name], { least, most });
  const d = DEFAULTS;
  return {
    id: (def.frameId ?? '').trim() || d.id,
    phases: reversed ? [first!, third!, second!] : [first!, second!, third!],
    zeroPhase: (def.zeroPhase ?? '').trim() || first!,
    sense: oneOf('sense', def.sense, ['lead', 'lag']),
    nominalHz: number('nominalHz', d.nominalHz, 10, 500),
    connections: connectionsOf(def),
    readingSdDeg: number('readingSdDeg', d.readingSdDeg, 0.001, 180),
    driftSdDeg: number('driftSdDeg', d.driftSdDeg, 0, 180),
    unbalanceSdDeg: number('unbalanceSdDeg', d.unbalanceSdDeg, 0, 180),
    grossErrorRate: number('grossErrorRate', d.grossErrorRate, 0, 0.1),
    accept: {
      identified: number('identified', d.accept.identified, 0.5, 1),
      confirmed: number('confirmed', d.accept.confirmed, 0.5, 1),
    },
    clockBudgetUs: number('clockBudgetUs', d.clockBudgetUs, 0, 1e6),
    referenceMaxAgeS: number('referenceMaxAgeS', d.referenceMaxAgeS, 0, 3600),
    referenceMaxGapS: number('referenceMaxGapS', d.referenceMaxGapS, 0, 3600),
  };
}

function connectionsOf({ connections }: FrameDef): Connection[] {
  const given = connections && connections.length > 0 ? connections : DEFAULTS.connections;
  const wrong = given.find((c) => !CONNECTIONS.includes(c));
  if (wrong !== undefined) {
    throw new Trouble(
      'config',
      `connections names ${JSON.stringify(wrong)}; it must be among ${CONNECTIONS.join(', ')}`,
    );
  }
  return [...given] as Connection[];
}
