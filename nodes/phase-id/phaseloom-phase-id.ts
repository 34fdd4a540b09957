/** The node "phase id": readings in, identifications out. */
import type { Node, NodeAPI } from 'node-red';
import type { Judgement as Finding } from '../../lib/records';
import { type NumberSetting, numberOr } from '../kit/config-values';
import { type Evidence, type EvidenceDef, evidenceOf, startOrRefuse } from '../kit/evidence';
import { runFindingNode } from '../kit/finding-node';
import { offerTrial } from '../kit/trial-route';
import { OnChange } from './on-change';
import { phaseIdRules } from './phase-id-rules';

interface PhaseIdDef extends EvidenceDef {
  waitS: NumberSetting;
  combineS: NumberSetting;
  siteWindowS: NumberSetting;
  onlyChanged: boolean;
  passOn: boolean;
}

const rulesOf = (def: PhaseIdDef, { frame, network }: Evidence) =>
  phaseIdRules(frame, network, {
    combineS: numberOr(60, 'combineS', def.combineS, { least: 0, most: 3600 }),
    siteWindowS: numberOr(900, 'siteWindowS', def.siteWindowS, { least: 0, most: 86_400 }),
  });

export = (RED: NodeAPI) => {
  offerTrial(RED, 'phaseloom-phase-id', rulesOf);
  RED.nodes.registerType('phaseloom-phase-id', function (this: Node, def: PhaseIdDef) {
    RED.nodes.createNode(this, def);
    startOrRefuse(RED, this, (light) => {
      const evidence = evidenceOf(RED, def);
      const rules = rulesOf(def, evidence);
      const changes = new OnChange();
      const settings = {
        accepts: ['reading'] as const,
        waitMs: 1000 * numberOr(1.5, 'waitS', def.waitS, { least: 0, most: 60 }),
        passesOn: def.passOn === true,
        ...(def.onlyChanged === true ? { sends: (finding: Finding) => changes.isNews(finding) } : {}),
      };
      runFindingNode(RED, this, light, evidence, settings, rules);
    });
  });
};
