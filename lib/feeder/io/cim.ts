/**
 * A feeder from a CIM model as distribution exchanges it (class names of IEC 61970-301 and IEC 61968-13, from memory): lines and
 * switches with their phases, transformers with ends or tanks, consumers, and the energy source as the head.
 */
import type { FeederDocument, FeederSection, FeederSwitch } from '../model';
import { behindTaps } from './behind-taps';
import { cimConsumers } from './cim-consumers';
import { kindsFromPhases } from './cim-kinds';
import { type CimModel, type CimObject, cimModel, type ParseXml } from './cim-objects';
import { cimTransformers, lettersOf, PHASES } from './cim-transformers';
import { checked, type FeederRead, placedAtNodes } from './read';

export interface CimOptions {
  readonly id: string;
  /** name of the connectivity node from which the feeder is fed; left out: that of the only EnergySource */
  readonly source?: string;
  /** A, B, C in the order in which they reach their crest; left out: this one */
  readonly phases?: readonly [string, string, string];
}

/** Where the model keeps the phases of a section, for corrections to refer to. */
export interface CimPlaces {
  /** the terminals of each section that have `Terminal.phases`, with their PhaseCode */
  readonly terminals: ReadonlyMap<string, readonly { readonly about: string; readonly code: string }[]>;
  /** for each section, its phase objects by recorded phase */
  readonly phaseObjects: ReadonlyMap<string, ReadonlyMap<string, { readonly about: string; readonly type: string }>>;
}

export type CimRead = FeederRead & { readonly places?: CimPlaces };

const LINES = ['ACLineSegment', 'SeriesCompensator'];
const SWITCHES = [
  'Switch',
  'Breaker',
  'Fuse',
  'Disconnector',
  'LoadBreakSwitch',
  'Recloser',
  'Sectionaliser',
  'Jumper',
  'Cut',
  'ProtectedSwitch',
];

/** Reads the subset; classes that say nothing about phases are passed over. Phases are the letters A, B, C of PhaseCode and SinglePhaseKind. */
export function readFeederCim(text: string, parse: ParseXml, options: CimOptions): CimRead {
  let model: CimModel;
  try {
    model = cimModel(text, parse);
  } catch (cause) {
    return { ok: false, problems: [`not a CIM model: ${(cause as Error).message}`] };
  }
  return new CimReader(model, options).read();
}

class CimReader {
  private readonly problems: string[] = [];
  private readonly terminalsOf: ReadonlyMap<string, readonly CimObject[]>;
  private readonly phasesOf: ReadonlyMap<string, readonly CimObject[]>;
  private readonly nodeName: (id: string) => string;
  private readonly nameOf: (o: CimObject) => string;

  constructor(
    private readonly model: CimModel,
    private readonly options: CimOptions,
  ) {
    const terminals = Map.groupBy(model.of('Terminal'), (t) => t.to('Terminal.ConductingEquipment'));
    for (const list of terminals.values()) list.sort((a, b) => sequence(a) - sequence(b));
    this.terminalsOf = terminals;
    this.phasesOf = Map.groupBy(
      [...model.of('ACLineSegmentPhase'), ...model.of('SwitchPhase')],
      (p) => p.to('ACLineSegmentPhase.ACLineSegment') || p.to('SwitchPhase.Switch'),
    );
    const nodes = naming(model.of('ConnectivityNode'));
    this.nodeName = (id) => nodes(model.get(id)) || id;
    this.nameOf = naming(model.of(...LINES, ...SWITCHES, 'PowerTransformer', 'TransformerTank'));
  }

  read(): CimRead {
    const { model } = this;
    const { nameOf, nodeName, problems } = this;
    const { transformers, taps } = cimTransformers(model, { nameOf, nodeName, problems });
    const lines = model.of(...LINES).flatMap((o) => this.section(o));
    const switches = model.of(...SWITCHES).flatMap((o) => this.section(o));
    const secondary = behindTaps(
      taps,
      [...lines, ...switches].map((l) => l.row),
    );
    const phased = <T extends FeederSection>(row: T): T => ({ ...row, phases: secondary.get(row.from) ?? row.phases });
    const document: FeederDocument = {
      id: this.options.id,
      ...(this.options.phases ? { phases: this.options.phases } : {}),
      source: this.source(),
      sections: lines.map(({ row }) => phased(row)),
      switches: switches.map(({ row, o }): FeederSwitch => ({ ...phased(row), closed: isClosed(o) })),
      transformers,
    };
    if (this.problems.length > 0) return { ok: false, problems: this.problems };
    const bare = checked(document);
    if (!bare.ok) return bare;
    const read = placedAtNodes(
      kindsFromPhases(document, bare.feeder, (node) => secondary.has(node)),
      cimConsumers(model, this.consumerNaming(), phasesAtNodes(document, secondary)),
    );
    return read.ok ? { ...read, places: this.cimPlaces([...lines, ...switches]) } : read;
  }

  private section(o: CimObject): { row: FeederSection; o: CimObject }[] {
    const id = this.nameOf(o);
    const nodes = this.nodesOf(o);
    if (nodes.length !== 2) {
      this.problems.push(
        `${o.type} ${id}: has ${nodes.length} terminals with a ConnectivityNode; expected two, one for each end`,
      );
      return [];
    }
    const lengthM = Number(o.text('Conductor.length'));
    const length = lengthM > 0 ? { lengthM } : {};
    return [{ o, row: { id, from: nodes[0]!, to: nodes[1]!, phases: this.phases(o), ...length } }];
  }

  private nodesOf(o: CimObject): string[] {
    return (this.terminalsOf.get(o.id) ?? [])
      .map((t) => t.to('Terminal.ConnectivityNode'))
      .filter((n) => n !== '')
      .map(this.nodeName);
  }

  /** From the phase objects, else from the terminals, else all three. */
  private phases(o: CimObject): string[] {
    const own = this.phasesOf.get(o.id)?.map(singlePhase) ?? [];
    const letters = own.length > 0 ? own : lettersOf(this.terminalsOf.get(o.id)?.[0]?.text('Terminal.phases') ?? '');
    const phases = PHASES.filter((p) => letters.includes(p));
    return phases.length > 0 ? phases : PHASES;
  }

  private source(): string {
    if (this.options.source !== undefined) return this.options.source;
    const heads = this.model.of('EnergySource').flatMap((o) => this.nodesOf(o));
    if (heads.length !== 1) {
      this.problems.push(
        `EnergySource: there are ${heads.length} with a ConnectivityNode; expected one, or the name of the node that feeds`,
      );
    }
    return heads[0] ?? '';
  }

  private consumerNaming() {
    return { nameOf: naming(this.model.of('EnergyConsumer')), nodesOf: (o: CimObject) => this.nodesOf(o) };
  }

  private cimPlaces(rows: readonly { readonly row: FeederSection; readonly o: CimObject }[]): CimPlaces {
    const terminals = new Map<string, readonly { about: string; code: string }[]>();
    const phaseObjects = new Map<string, ReadonlyMap<string, { about: string; type: string }>>();
    for (const { row, o } of rows) {
      const phased = (this.terminalsOf.get(o.id) ?? []).filter((t) => t.text('Terminal.phases') !== '');
      terminals.set(
        row.id,
        phased.map((t) => ({ about: t.about, code: t.text('Terminal.phases') })),
      );
      const own = this.phasesOf.get(o.id) ?? [];
      phaseObjects.set(row.id, new Map(own.map((p) => [singlePhase(p), { about: p.about, type: p.type }])));
    }
    return { terminals, phaseObjects };
  }
}

/** Behind a centre tap its phase; elsewhere all that some section at the node has. */
function phasesAtNodes(document: FeederDocument, secondary: ReadonlyMap<string, readonly string[]>) {
  const at = new Map<string, readonly string[]>();
  for (const { from, to, phases } of [...document.sections, ...document.switches!, ...document.transformers!]) {
    for (const node of [from, to]) {
      const both = [...(at.get(node) ?? []), ...phases];
      at.set(node, secondary.get(node) ?? PHASES.filter((p) => both.includes(p)));
    }
  }
  return at;
}

const sequence = (t: CimObject): number =>
  Number(t.text('ACDCTerminal.sequenceNumber') || t.text('Terminal.sequenceNumber') || 0);
const singlePhase = (p: CimObject): string => p.text('ACLineSegmentPhase.phase') || p.text('SwitchPhase.phaseSide1');
const isClosed = (o: CimObject): boolean => (o.text('Switch.open') || o.text('Switch.normalOpen')) !== 'true';

/** Names where they are unique, else ids. */
function naming(objects: readonly CimObject[]): (o: CimObject | undefined) => string {
  const count = new Map<string, number>();
  for (const { name } of objects) count.set(name, (count.get(name) ?? 0) + 1);
  return (o) => (o === undefined ? '' : o.name !== '' && count.get(o.name) === 1 ? o.name : o.id);
}
