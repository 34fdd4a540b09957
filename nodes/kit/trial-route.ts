/** The way by which the editor tries readings with settings that are not deployed. */
import type { NodeAPI } from 'node-red';
import type { Frame } from '../../lib/frame';
import type { Network } from '../../lib/network';
import type { Evidence } from './evidence';
import type { Group, Rules } from './finding-flow';
import { type FrameDef, frameOf, referenceIdsOf } from './frame-definition';
import { type NetworkDef, networkOf } from './network-definition';
import { type ReferenceDef, referenceOf } from './reference-definition';
import { readingsIn, tried } from './trial';
import { asError, Trouble } from './trouble';

/** What the editor sends: the settings of the node, its config nodes by id as they stand in the editor, and readings as text. */
interface Asked<Def> {
  readonly settings: Def;
  readonly configs: Readonly<Record<string, unknown>>;
  readonly readings: string;
}

interface EvidenceChoice {
  readonly frame?: string;
  readonly network?: string;
}

/**
 * POST phaseloom/trial/TYPE: the findings, or `problem`, which says what is wrong and what would be right. Changes nothing.
 * Needs the permission TYPE.write, since it can name files to read.
 */
export function offerTrial<Def extends EvidenceChoice, G extends Group>(
  RED: NodeAPI,
  type: string,
  rulesOf: (def: Def, evidence: Evidence) => Rules<G>,
): void {
  RED.httpAdmin.post(`/phaseloom/trial/${type}`, RED.auth.needsPermission(`${type}.write`), (req, res) => {
    try {
      const { settings, configs, readings } = asked<Def>(req.body);
      const frame = frameIn(settings, configs);
      const network = networkIn(RED, settings, configs);
      const rules = rulesOf(settings, { frame, network, ledger: undefined });
      res.json({ ok: true, ...tried(frame, rules, readingsIn(readings, network)) });
    } catch (cause) {
      res.json({ ok: false, problem: asError(cause).message });
    }
  });
}

function asked<Def>(body: unknown): Asked<Def> {
  const { settings, configs, readings } = (body ?? {}) as Partial<Asked<Def>>;
  if (!isObject(settings) || !isObject(configs) || typeof readings !== 'string')
    throw new Trouble('config', 'the question must hold settings, configs and readings');
  return { settings: filledIn(settings), configs, readings };
}

function frameIn(settings: EvidenceChoice, configs: Asked<unknown>['configs']): Frame {
  const def = definition<FrameDef>(configs, settings.frame);
  if (!def) throw new Trouble('config', 'no frame is chosen: it says what an angle means');
  const references = referenceIdsOf(def).map((id) => {
    const reference = definition<ReferenceDef>(configs, id);
    if (!reference) throw new Trouble('config', `frame ${def.frameId}: a chosen reference does not exist`);
    return referenceOf(reference);
  });
  return frameOf(def, references);
}

function networkIn(RED: NodeAPI, settings: EvidenceChoice, configs: Asked<unknown>['configs']): Network | undefined {
  const def = definition<NetworkDef>(configs, settings.network);
  if (!def) return undefined;
  const { network, problem } = networkOf(RED, def);
  if (!network) throw new Trouble('config', problem ?? 'the network does not work');
  return network;
}

const definition = <Def>(configs: Asked<unknown>['configs'], id: string | undefined): Def | undefined =>
  id && isObject(configs[id]) ? filledIn(configs[id] as Def) : undefined;

/** Where a setting is the name of an environment variable, its value, as the runtime puts it in. */
const filledIn = <Def>(settings: Def): Def =>
  Object.fromEntries(
    Object.entries(settings as object).map(([key, value]) => {
      const name = typeof value === 'string' ? /^\$\{([^}]+)\}$/.exec(value)?.[1] : undefined;
      return [key, name === undefined ? value : process.env[name]];
    }),
  ) as Def;

const isObject = (value: unknown): value is Record<string, unknown> =>
  value !== null && typeof value === 'object' && !Array.isArray(value);
