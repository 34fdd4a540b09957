/** The node "screen": readings fit for use on the first port, the others aside on the second. */
import type { Node, NodeAPI } from 'node-red';
import type { FitnessSettings } from '../../lib/fitness';
import { takenAtUs } from '../../lib/reading';
import type { Reading } from '../../lib/records';
import { passes, Screen, type Screened, type ScreenRule, turnedAside } from '../../lib/screening';
import { type NumberSetting, numberOr, oneOf, optionalNumber } from '../kit/config-values';
import { type Evidence, type EvidenceDef, evidenceOf, startOrRefuse } from '../kit/evidence';
import { InOrder } from '../kit/in-order';
import { keep } from '../kit/kept-readings';
import { joinKin } from '../kit/kin';
import { RecentReadings } from '../kit/recent-readings';
import { type FlowMessage, Marked, type Ports, serve } from '../kit/serve';
import type { StatusLight } from '../kit/status';
import { shortCount } from '../kit/tally';
import { showVitalSigns } from '../kit/vital-signs';

interface ScreenDef extends EvidenceDef {
  leastGrade: string;
  batteryLowPct: NumberSetting;
  calibrationDays: NumberSetting;
  maxAgeS: NumberSetting;
  futureToleranceS: NumberSetting;
}

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-screen', function (this: Node, def: ScreenDef) {
    RED.nodes.createNode(this, def);
    startOrRefuse(RED, this, (light) => run(RED, this, light, evidenceOf(RED, def), rulesOf(def)));
  });
};

interface Rules extends ScreenRule {
  readonly limits: Omit<FitnessSettings, 'frame' | 'nowUs' | 'terminal'>;
}

function rulesOf(def: ScreenDef): Rules {
  const calibrationDays = optionalNumber('calibrationDays', def.calibrationDays, { least: 0, most: 36_500 });
  const maxAgeS = optionalNumber('maxAgeS', def.maxAgeS, { least: 1, most: 1e9 });
  return {
    leastGrade: oneOf('leastGrade', def.leastGrade, ['usable', 'good']),
    limits: {
      batteryLowPct: numberOr(10, 'batteryLowPct', def.batteryLowPct, { least: 0, most: 100 }),
      futureToleranceS: numberOr(5, 'futureToleranceS', def.futureToleranceS, { least: 0, most: 86_400 }),
      ...(calibrationDays === undefined ? {} : { calibrationDays }),
      ...(maxAgeS === undefined ? {} : { maxAgeS }),
    },
  };
}

function run(RED: NodeAPI, node: Node, light: StatusLight, evidence: Evidence, rules: Rules): void {
  const { frame, network, ledger } = evidence;
  const recent = new RecentReadings(ledger);
  const screen = new Screen();
  const face = new Face(RED, light);
  showVitalSigns(node, { counters: () => face.counts });
  // A reading must not overtake the rejection of one before it: who finds both in the ledger shall find which was turned aside.
  const order = new InOrder();
  const judge = (reading: Reading, window: { add(r: Reading): Parameters<Screen['judge']>[2] }): Screened => {
    const terminal = network?.terminals.get(reading.terminal);
    return screen.judge(reading, { ...rules.limits, frame, terminal, nowUs: Date.now() * 1000 }, window.add(reading));
  };
  const out = (reading: Reading, fitness: Screened, msg: FlowMessage): Ports | Promise<Ports> => {
    const isFit = passes(fitness, rules);
    face.count(isFit, fitness);
    if (isFit) return [new Marked(reading, { fitness })];
    const rejection = turnedAside(reading, fitness, sourceOf(msg));
    const ports: Ports = [undefined, new Marked(rejection, { fitness })];
    return ledger ? keep(ledger, [rejection]).then(() => ports) : ports;
  };
  serve(node, {
    accepts: ['reading'],
    each: (record, _reading, seq, msg) => {
      const reading = record as Reading;
      const us = takenAtUs(reading);
      const window = recent.over({ reading, seq, terminals: [reading.terminal], fromUs: us, toUs: us });
      if (!(window instanceof Promise)) return order.after(out(reading, judge(reading, window), msg));
      return order.after(window.then((w) => out(reading, judge(reading, w), msg)));
    },
  });
  const leaveKin = joinKin({ kinOf: () => [], heardByAll: [], forget: () => recent.forget() });
  node.on('close', () => {
    leaveKin();
    light.close();
  });
}

const sourceOf = ({ topic }: FlowMessage): string =>
  typeof topic === 'string' && topic !== '' ? topic.slice(0, 200) : 'screen';

class Face {
  readonly counts = { passed: 0, aside: 0, sequenceGaps: 0 };

  constructor(
    private readonly RED: NodeAPI,
    private readonly light: StatusLight,
  ) {
    light.show('grey', 'ring', RED._('phaseloom-screen.status.waiting'));
  }

  count(isFit: boolean, { notices }: Screened): void {
    this.counts[isFit ? 'passed' : 'aside']++;
    if (notices.some(({ code }) => code === 'sequence-gap')) this.counts.sequenceGaps++;
    const { passed, aside } = this.counts;
    this.light.show(isFit ? 'green' : 'yellow', 'dot', () =>
      this.RED._('phaseloom-screen.status.counts', { passed: shortCount(passed), all: shortCount(passed + aside) }),
    );
  }
}
