/** Transformers of a CIM model: three-phase ones with ends, single-phase ones and banks with tanks, centre taps. */
import { parseVectorGroup } from '../../windings';
import type { FeederTransformer } from '../model';
import { CENTRE_TAP, UNKNOWN } from '../model-windings';
import type { CimModel, CimObject } from './cim-objects';

export const PHASES = ['A', 'B', 'C'];
/** The phases that a PhaseCode names. */
export const lettersOf = (code: string): string[] => [...code].filter((c) => PHASES.includes(c));

export interface CimNaming {
  readonly nameOf: (o: CimObject) => string;
  readonly nodeName: (id: string) => string;
  readonly problems: string[];
}

/** The transformers, and the nodes behind centre taps with the phases of these. */
export function cimTransformers(model: CimModel, naming: CimNaming) {
  const taps: [string, readonly string[]][] = [];
  const ends = Map.groupBy(model.of('PowerTransformerEnd'), (e) => e.to('PowerTransformerEnd.PowerTransformer'));
  const tanks = Map.groupBy(model.of('TransformerTank'), (t) => t.to('TransformerTank.PowerTransformer'));
  const tankEnds = Map.groupBy(model.of('TransformerTankEnd'), (e) => e.to('TransformerTankEnd.TransformerTank'));
  const make = (...given: [o: CimObject, ends: readonly CimObject[], phases: readonly string[], group: string]) =>
    transformerOf(model, naming, ...given);
  const transformers = model.of('PowerTransformer').flatMap((o) => {
    const group = o.text('PowerTransformer.vectorGroup');
    const own = ends.get(o.id) ?? [];
    if (own.length > 2) return manyWindings(inOrder(own)).flatMap((w) => make(o, w, PHASES, groupOfEnds(w)));
    if (own.length > 0) return make(o, own, PHASES, group || groupOfEnds(own));
    const units = (tanks.get(o.id) ?? []).map((t) => ({ t, ends: inOrder(tankEnds.get(t.id) ?? []) }));
    const centre = units.filter((u) => u.ends.some((e) => /s[12]/.test(phaseCodeOf(e))));
    const plain = units.filter((u) => !centre.includes(u) && u.ends.length > 0);
    const tapped = centre.flatMap((u) => {
      const phases = lettersOf(phaseCodeOf(u.ends[0]!));
      const made = make(u.t, u.ends, phases, CENTRE_TAP);
      for (const m of made) taps.push([m.to, phases]);
      return made;
    });
    if (plain.length === 0) return tapped;
    const codes = plain.map((u) => phaseCodeOf(u.ends[0]!));
    // A bank between conductors and neutral on both sides turns nothing; so a model need not say it.
    const toNeutral = plain.every((u) => u.ends.every((e) => phaseCodeOf(e).endsWith('N')));
    return [...tapped, ...make(o, plain[0]!.ends, codes.flatMap(lettersOf), group || (toNeutral ? 'YNyn0' : ''))];
  });
  return { transformers, taps };
}

function transformerOf(
  model: CimModel,
  { nameOf, nodeName, problems }: CimNaming,
  o: CimObject,
  ends: readonly CimObject[],
  phases: readonly string[],
  group: string,
): FeederTransformer[] {
  const [from, to] = inOrder(ends).map(
    (e) => model.get(e.to('TransformerEnd.Terminal'))?.to('Terminal.ConnectivityNode') ?? '',
  );
  if (!from || !to) {
    problems.push(
      `${o.type} ${nameOf(o)}: ends 1 and 2 do not both lead to a ConnectivityNode; expected TransformerEnd.Terminal on each`,
    );
    return [];
  }
  const present = PHASES.filter((p) => phases.includes(p));
  const winding = Number(inOrder(ends)[1]!.text('TransformerEnd.endNumber'));
  // A centre tap has its legs as ends 2 and 3, at one node.
  const id = winding > 2 && o.type === 'PowerTransformer' ? `${nameOf(o)}/${winding}` : nameOf(o);
  return [
    {
      id,
      from: nodeName(from),
      to: nodeName(to),
      phases: present.length > 0 ? present : PHASES,
      vectorGroup: knownGroup(group),
    },
  ];
}

/** Of three windings and more the first feeds each of the others: one transformer each. */
const manyWindings = ([first, ...others]: readonly CimObject[]): CimObject[][] => others.map((o) => [first!, o]);

const inOrder = (ends: readonly CimObject[]): CimObject[] =>
  [...ends].sort((a, b) => Number(a.text('TransformerEnd.endNumber')) - Number(b.text('TransformerEnd.endNumber')));
const phaseCodeOf = (e: CimObject): string =>
  e.text('TransformerTankEnd.phases') || e.text('TransformerTankEnd.orderedPhases');

/** E.g. D and Yn with clock 1: Dyn1. */
function groupOfEnds(ends: readonly CimObject[]): string {
  const [high, low] = inOrder(ends);
  const kind = (e: CimObject | undefined) => e?.text('PowerTransformerEnd.connectionKind') ?? '';
  const clock = low?.text('PowerTransformerEnd.phaseAngleClock') ?? '';
  return `${kind(high).toUpperCase()}${kind(low).toLowerCase()}${clock}`;
}

/** Groups of one kind without a clock number (Ii, Yy, Dd) are taken to turn nothing; what else is not a group is unknown. */
function knownGroup(group: string): string {
  if (group === CENTRE_TAP || parseVectorGroup(group).ok) return group;
  const letters = group.toLowerCase().replace(/[^dyzi]/g, '');
  return /^(i+|y+|dd)$/.test(letters) ? 'YNyn0' : UNKNOWN;
}
