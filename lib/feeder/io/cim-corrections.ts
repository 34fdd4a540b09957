/** Corrections of a trace as the difference of a CIM model: what the record says, and what the evidence says. */
import type { Trace, TraceLabel } from '../../records';
import { type DocumentGroup, offeredAgainstDocument } from './against-document';
import type { CimPlaces } from './cim';

export interface CimCorrections {
  /** a DifferenceModel after IEC 61970-552 (its name space and form from memory) */
  readonly xml: string;
  readonly changes: number;
  /** sections whose correction the model has no place for: e.g. two conductors of three swapped, where only a PhaseCode is kept */
  readonly notExpressible: readonly string[];
}

/**
 * The PhaseCode of a set of phases: letters in the order A, B, C, with N when the neutral is there. A code says which phases are
 * present, not in which order.
 * @example phaseCode(['C', 'A']) // 'AC'
 * @example phaseCode(['B'], true) // 'BN'
 */
export const phaseCode = (phases: readonly string[], neutral = false): string =>
  [...new Set(phases)].sort().join('') + (neutral ? 'N' : '');

interface Change {
  readonly about: string;
  readonly property: string;
  readonly before: string;
  readonly after: string;
}

/**
 * Each label as a change of the section's phase objects where the model has them, else of the PhaseCode at its terminals. Only labels
 * A, B, C have a code. Where the model says already what holds, nothing is changed.
 * @param groups left out: all that the trace offers
 */
export function cimCorrections(
  trace: Trace,
  places: CimPlaces,
  groups: readonly DocumentGroup[] = offeredAgainstDocument(trace),
): CimCorrections {
  const labels = groups.flatMap((g) => g.labels).filter((l) => l.recorded.join() !== l.phases.join());
  const left: TraceLabel[] = [];
  const changes = labels.flatMap((label) => {
    const made = changesOf(label, places);
    if (made.length === 0) left.push(label);
    return made;
  });
  return {
    xml: difference(trace, changes, left),
    changes: changes.length,
    notExpressible: left.map((label) => label.section),
  };
}

function changesOf({ section, recorded, phases }: TraceLabel, places: CimPlaces): Change[] {
  if (![...recorded, ...phases].every((p) => /^[ABC]$/.test(p))) return [];
  const objects = places.phaseObjects.get(section);
  if (objects && recorded.every((p) => objects.has(p))) {
    return recorded.flatMap((before, i) => {
      const { about, type } = objects.get(before)!;
      const property = type === 'SwitchPhase' ? 'SwitchPhase.phaseSide1' : 'ACLineSegmentPhase.phase';
      const after = phases[i]!;
      return before === after
        ? []
        : [{ about, property, before: `SinglePhaseKind.${before}`, after: `SinglePhaseKind.${after}` }];
    });
  }
  const [before, after] = [phaseCode(recorded), phaseCode(phases)];
  const terminals = places.terminals.get(section) ?? [];
  // Codes of other letters, such as those of the legs behind a centre tap, are not what the label speaks of.
  if (before === after || terminals.some(({ code }) => code !== before && code !== `${before}N`)) return [];
  return terminals.map(({ about, code }) => ({
    about,
    property: 'Terminal.phases',
    before: `PhaseCode.${code}`,
    after: `PhaseCode.${phaseCode(phases, code.endsWith('N'))}`,
  }));
}

const CIM = 'http://iec.ch/TC57/CIM100#';

/** Whoever has only the file must read in it what it could not say. */
function describedIn({ feeder, caution = '' }: Trace, left: readonly TraceLabel[]): string {
  const told = left.map((l) => `${l.section}: ${l.recorded.join(' ')} is ${l.phases.join(' ')}`);
  const lacking =
    told.length > 0 ? ` Not in this difference, since the model has no place for it: ${told.join('; ')}.` : '';
  return `Feeder ${feeder}.${lacking} ${caution}`;
}

function difference(trace: Trace, changes: readonly Change[], left: readonly TraceLabel[]): string {
  const statements = (which: 'before' | 'after') =>
    changes.flatMap((c) => [
      `      <rdf:Description rdf:about="${escaped(c.about)}">`,
      `        <cim:${c.property} rdf:resource="${CIM}${c[which]}"/>`,
      '      </rdf:Description>',
    ]);
  return [
    '<?xml version="1.0" encoding="utf-8"?>',
    `<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#" xmlns:cim="${CIM}"`,
    '  xmlns:md="http://iec.ch/TC57/61970-552/ModelDescription/1#" xmlns:dm="http://iec.ch/TC57/61970-552/DifferenceModel/1#">',
    `  <dm:DifferenceModel rdf:about="urn:phaseloom:${escaped(trace.id)}">`,
    `    <md:Model.created>${escaped(trace.at)}</md:Model.created>`,
    `    <md:Model.description>${escaped(describedIn(trace, left))}</md:Model.description>`,
    '    <dm:reverseDifferences rdf:parseType="Statements">',
    ...statements('before'),
    '    </dm:reverseDifferences>',
    '    <dm:forwardDifferences rdf:parseType="Statements">',
    ...statements('after'),
    '    </dm:forwardDifferences>',
    '  </dm:DifferenceModel>',
    '</rdf:RDF>',
    '',
  ].join('\n');
}

const ENTITIES: Readonly<Record<string, string>> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' };
const escaped = (text: string): string => text.replace(/[&<>"]/g, (c) => ENTITIES[c]!);
