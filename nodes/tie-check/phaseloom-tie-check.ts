/** The node "tie check": readings of the two sides of an open point in, their comparison out. */
import type { Node, NodeAPI } from 'node-red';
import { type NumberSetting, numberOr, oneOf } from '../kit/config-values';
import { type Evidence, type EvidenceDef, evidenceOf, startOrRefuse } from '../kit/evidence';
import { runFindingNode } from '../kit/finding-node';
import { offerTrial } from '../kit/trial-route';
import { Trouble } from '../kit/trouble';
import { type TieCheckSettings, tieCheckRules } from './tie-check-rules';

interface TieCheckDef extends EvidenceDef {
  windowS: NumberSetting;
  combineS: NumberSetting;
  toleranceDeg: NumberSetting;
  requireProof: string;
  waitS: NumberSetting;
  passOn: boolean;
}

function rulesOf(def: TieCheckDef, { frame, network }: Evidence) {
  if (!network) throw new Trouble('config', 'no network is chosen: it says which terminals face each other');
  return tieCheckRules(frame, network, settingsOf(def));
}

function settingsOf(def: TieCheckDef): TieCheckSettings {
  return {
    windowS: numberOr(600, 'windowS', def.windowS, { least: 0, most: 86_400 }),
    combineS: numberOr(60, 'combineS', def.combineS, { least: 0, most: 3600 }),
    toleranceDeg: numberOr(10, 'toleranceDeg', def.toleranceDeg, { least: 0.1, most: 60 }),
    requireProof: oneOf('requireProof', def.requireProof, ['attested-time', 'common-conductor']),
  };
}

export = (RED: NodeAPI) => {
  offerTrial(RED, 'phaseloom-tie-check', rulesOf);
  RED.nodes.registerType('phaseloom-tie-check', function (this: Node, def: TieCheckDef) {
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
      const { windowS, toleranceDeg, requireProof } = settingsOf(def);
      // The field page decides by the same rule where there is no connection.
      Object.assign(this, { tieRule: { network: def.network, windowS, toleranceDeg, requireProof } });
    });
  });
};
