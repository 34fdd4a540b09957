/** Consumers of a CIM model: a load each, and a terminal at each of their conductors. */
import type { CimModel, CimObject } from './cim-objects';
import { PHASES } from './cim-transformers';
import type { AtNodes } from './read';

export interface ConsumerNaming {
  readonly nameOf: (o: CimObject) => string;
  /** names of the connectivity nodes at its terminals */
  readonly nodesOf: (o: CimObject) => readonly string[];
}

/** Legs behind a centre tap; the second stands opposite to the phase of its primary. */
const LEGS = ['s1', 's2'];

/**
 * A consumer that does not say its phases has those that reach its node. Powers that it gives by phase make a load of each phase; of one
 * between phases (phaseConnection D) nothing is read at a conductor, and its power stays whole.
 */
export function cimConsumers(
  model: CimModel,
  { nameOf, nodesOf }: ConsumerNaming,
  reaching: ReadonlyMap<string, readonly string[]>,
): AtNodes {
  const parts = Map.groupBy(model.of('EnergyConsumerPhase'), (p) => p.to('EnergyConsumerPhase.EnergyConsumer'));
  const consumers = model.of('EnergyConsumer').flatMap((o) => {
    const [node] = nodesOf(o);
    return node === undefined
      ? []
      : [{ o, id: nameOf(o), node, own: parts.get(o.id) ?? [], reached: reaching.get(node) ?? PHASES }];
  });
  return { terminals: consumers.flatMap(terminalsOf), loads: consumers.flatMap(loadsOf) };
}

interface Consumer {
  readonly o: CimObject;
  readonly id: string;
  readonly node: string;
  readonly own: readonly CimObject[];
  readonly reached: readonly string[];
}

const isDelta = ({ o }: Consumer): boolean => o.text('EnergyConsumer.phaseConnection') === 'D';
const phaseOf = (part: CimObject): string => part.text('EnergyConsumerPhase.phase');

function phasesOf({ own, reached }: Consumer): readonly string[] {
  const stated = PHASES.filter((p) => own.some((part) => phaseOf(part) === p));
  return stated.length > 0 ? stated : reached;
}

function terminalsOf(c: Consumer): AtNodes['terminals'] {
  const { id, node, own, reached } = c;
  if (isDelta(c)) return [];
  const legs = LEGS.filter((leg) => own.some((part) => phaseOf(part) === leg));
  const [phase] = reached;
  if (legs.length > 0 && reached.length === 1) {
    return legs.map((leg) => ({
      id: `${id}/${leg}`,
      node,
      phase: phase!,
      site: node,
      ...(leg === 's2' ? { reversed: true } : {}),
    }));
  }
  return phasesOf(c).map((p) => ({ id: `${id}/${p}`, node, phase: p, site: node }));
}

function loadsOf(c: Consumer): AtNodes['loads'] {
  const { o, id, node, own } = c;
  const phases = phasesOf(c);
  const whole = powerOf(o, 'EnergyConsumer');
  const byPhase = own.map((part) => ({ phase: phaseOf(part), ...powerOf(part, 'EnergyConsumerPhase') }));
  const isGiven = byPhase.length > 0 && byPhase.every((b) => b.kw !== undefined);
  const apart = isGiven && !isDelta(c) && byPhase.length > 1 && byPhase.every((b) => PHASES.includes(b.phase));
  const isEven = byPhase.every((b) => b.kw === byPhase[0]!.kw && b.kvar === byPhase[0]!.kvar);
  if (apart && !isEven)
    return byPhase.map(({ phase, ...p }) => ({ id: `${id}/${phase}`, node, phases: [phase], kw: p.kw!, ...p }));
  const sum = (of: 'kw' | 'kvar') => byPhase.reduce((total, b) => total + (b[of] ?? 0), 0);
  const summed = isGiven
    ? { kw: sum('kw'), ...(byPhase.some((b) => b.kvar !== undefined) ? { kvar: sum('kvar') } : {}) }
    : {};
  return [{ id, node, phases, kw: 0, ...summed, ...whole }];
}

/** Watts and vars of the model as kW and kvar; left out where they are not given. */
function powerOf(o: CimObject, type: string): { readonly kw?: number; readonly kvar?: number } {
  const [p, q] = ['p', 'q'].map((m) => o.text(`${type}.${m}`));
  return { ...(p ? { kw: Number(p) / 1000 } : {}), ...(q ? { kvar: Number(q) / 1000 } : {}) };
}
