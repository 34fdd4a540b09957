/** The node "phase id": readings in, identifications out. */
import type { Node, NodeAPI } from 'node-red';
import type { Judgement as Finding } from '../../lib/records';
import { type NumberSetting, numberOr } from '../kit/config-values';
import { type EvidenceDef, evidenceOf, startOrRefuse } from '../kit/evidence';
import { runFindingNode } from '../kit/finding-node';
import { OnChange } from './on-change';
import { phaseIdRules } from './phase-id-rules';

interface PhaseIdDef extends EvidenceDef {
  waitS: NumberSetting;
  combineS: NumberSetting;
  siteWindowS: NumberSetting;
  onlyChanged: boolean;
  passOn: boolean;
}

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-phase-id', function (this: Node, def: PhaseIdDef) {
    RED.nodes.createNode(this, def);
    startOrRefuse(RED, this, (light) => {
      const evidence = evidenceOf(RED, def);
      const rules = phaseIdRules(evidence.frame, evidence.network, {
        combineS: numberOr(60, 'combineS', def.combineS, { least: 0, most: 3600 }),
        siteWindowS: numberOr(900, 'siteWindowS', def.siteWindowS, { least: 0, most: 86_400 }),
      });
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
