/** The node "rotation": three conductors in viewing order, their rotation out. */
import type { Node, NodeAPI } from 'node-red';
import { type NumberSetting, numberOr, oneOf } from '../kit/config-values';
import { type Evidence, type EvidenceDef, evidenceOf, startOrRefuse } from '../kit/evidence';
import { runFindingNode } from '../kit/finding-node';
import { offerTrial } from '../kit/trial-route';
import { Trouble } from '../kit/trouble';
import { type RotationSettings, rotationRules } from './rotation-rules';

interface RotationDef extends EvidenceDef {
  windowS: NumberSetting;
  combineS: NumberSetting;
  waitS: NumberSetting;
  passOn: boolean;
  site: string;
  terminal1: string;
  terminal2: string;
  terminal3: string;
  viewing: string;
}

function rulesOf(def: RotationDef, { frame, network }: Evidence) {
  const own = ownSite(def);
  if (!own && !network) {
    throw new Trouble(
      'config',
      'neither a network nor three terminals are given: choose a network with sites, or name them',
    );
  }
  return rotationRules(frame, network, {
    windowS: numberOr(300, 'windowS', def.windowS, { least: 0, most: 86_400 }),
    combineS: numberOr(60, 'combineS', def.combineS, { least: 0, most: 3600 }),
    own,
  });
}

export = (RED: NodeAPI) => {
  offerTrial(RED, 'phaseloom-rotation', rulesOf);
  RED.nodes.registerType('phaseloom-rotation', function (this: Node, def: RotationDef) {
    RED.nodes.createNode(this, def);
    startOrRefuse(RED, this, (light) => {
      const evidence = evidenceOf(RED, def);
      const rules = rulesOf(def, evidence);
      const settings = {
        accepts: ['reading', 'identification', 'rotation', 'comparison'] as const,
        waitMs: 1000 * numberOr(1.5, 'waitS', def.waitS, { least: 0, most: 60 }),
        passesOn: def.passOn === true,
      };
      runFindingNode(RED, this, light, evidence, settings, rules);
    });
  });
};

function ownSite(def: RotationDef): RotationSettings['own'] {
  const terminals = [def.terminal1, def.terminal2, def.terminal3].map((t) => (t ?? '').trim());
  if (terminals.every((t) => t === '')) return undefined;
  if (terminals.some((t) => t === '') || new Set(terminals).size !== 3) {
    throw new Trouble(
      'config',
      `three different terminals are needed in viewing order, got ${JSON.stringify(terminals)}`,
    );
  }
  const viewing = oneOf('viewing', def.viewing, ['left-to-right', 'road-to-field', 'top-to-bottom', 'near-to-far']);
  return { view: { site: (def.site ?? '').trim() || terminals.join(' + '), viewing }, terminals };
}
