/** A board with a load plan: a small invented feeder whose load on C is too much, and an identification that proves a move. */
import type { Identification } from '../../lib/records';
import { identificationAt } from './feeder-trunk';
import { newLedger } from './ledger-in-flow';
import type { FlowNode, Rig } from './node-red';

/** 30 kW on A, 45 on B, 105 on C, 5 on nobody knows; t1 and t2 may be moved, and t1 is read at T1. */
export const LOADED = {
  id: 'small',
  source: 's',
  voltageV: 7200,
  sections: [
    { id: 'head', from: 's', to: 'a', phases: ['A', 'B', 'C'] },
    { id: 'far', from: 'a', to: 'b', phases: ['A', 'B', 'C'] },
  ],
  loads: [
    { id: 't1', section: 'head', phases: ['C'], kW: 30, movable: true, terminals: ['small/T1'] },
    { id: 't2', section: 'head', phases: ['C'], kW: 15, movable: true },
    { id: 'a', section: 'head', phases: ['A'], kW: 30 },
    { id: 'b', section: 'head', phases: ['B'], kW: 45 },
    { id: 'c', section: 'head', phases: ['C'], kW: 60 },
    { id: 'x', section: 'far', phases: [], kW: 5 },
  ],
  resistanceOhm: { head: 0.3, far: 0.6 },
};

export async function deployPlan(rig: Rig, ...more: FlowNode[]): Promise<void> {
  await rig.deploy([
    newLedger(),
    { id: 'board', type: 'phaseloom-board', path: '/phaseloom', ledger: 'ledger' },
    {
      id: 'plan',
      type: 'phaseloom-load-plan',
      ledger: 'ledger',
      source: 'inline',
      document: JSON.stringify(LOADED),
      aim: 'best',
      moves: 2,
      timeS: 3,
      wires: [['plans', ...more.map((n) => n.id)], ['answers']],
    },
    rig.probe('plans'),
    rig.probe('answers'),
    ...more,
  ]);
}

/** T1 proven on a phase, so many seconds from now. */
export const provenAtT1 = (phase: string, s: number): Identification => ({
  ...identificationAt('small/T1', 0, new Date(Date.now() + 1000 * s).toISOString().replace('Z', '000Z')),
  verdict: 'confirmed',
  phase,
});
