/** What is wrong with the rows of a feeder document: which row, what, and what would be right. */
import type { FeederDocument, FeederSection } from './model';
import { CHANGE_PRIOR } from './model';
import { vectorGroupProblem } from './model-windings';

/** A document that makes no feeder: its message has one problem a line. */
export class FeederError extends RangeError {
  constructor(
    id: string,
    readonly problems: readonly string[],
  ) {
    super(`feeder ${id}:\n${problems.join('\n')}`);
  }
}

/** Every problem that can be seen without walking the feeder. */
export function rowProblems(document: FeederDocument, phases: readonly string[]): string[] {
  const problems: string[] = [];
  if (new Set(phases).size !== 3) {
    problems.push(`phases: must be three different labels, got ${JSON.stringify(phases)}`);
  }
  const sections = new Set<string>();
  const nodes = new Set<string>();
  const tables: readonly [string, readonly FeederSection[]][] = [
    ['sections', document.sections],
    ['switches', document.switches ?? []],
    ['transformers', document.transformers ?? []],
  ];
  for (const [table, rows] of tables) {
    rows.forEach((row, i) => {
      const where = `${table}[${i}] (${row.id})`;
      if (sections.has(row.id)) problems.push(`${where}: id is used twice; expected an id of its own`);
      sections.add(row.id);
      nodes.add(row.from).add(row.to);
      problems.push(...[...sectionProblems(row, phases), ...strays(table, row)].map((p) => `${where}: ${p}`));
    });
  }
  (document.transformers ?? []).forEach((t, i) => {
    const problem = vectorGroupProblem(t.vectorGroup);
    if (problem) problems.push(`transformers[${i}] (${t.id}): ${problem}`);
  });
  if (!nodes.has(document.source)) {
    problems.push(`source: no section begins or ends at node ${document.source}; expected a node of a section`);
  }
  problems.push(...placeProblems(document, phases, sections));
  return problems;
}

/** What makes a row a switch or a transformer says nothing of a plain section: passed over, an open switch would conduct. */
const strays = (table: string, row: object): string[] =>
  ['switches closed', 'transformers vectorGroup'].flatMap((place) => {
    const [own, member] = place.split(' ') as [string, string];
    return table === own || !Object.hasOwn(row, member) ? [] : [`${member}: expected only under ${own}`];
  });

function sectionProblems(row: FeederSection, phases: readonly string[]): string[] {
  const problems: string[] = [];
  if (typeof row.id !== 'string' || row.id === '') problems.push('id must be a non-empty text');
  if (!row.from || !row.to || row.from === row.to) {
    problems.push(`from ${row.from} to ${row.to}: expected two different nodes`);
  }
  const strange = row.phases.filter((p) => !phases.includes(p));
  if (row.phases.length === 0 || strange.length > 0 || new Set(row.phases).size !== row.phases.length) {
    problems.push(`phases ${JSON.stringify(row.phases)}: expected one to three different ones of ${phases.join(', ')}`);
  }
  if (row.kind !== undefined && !Object.hasOwn(CHANGE_PRIOR, row.kind)) {
    problems.push(`kind ${row.kind}: expected one of ${Object.keys(CHANGE_PRIOR).join(', ')}`);
  }
  if (row.changePrior !== undefined && !(row.changePrior > 0 && row.changePrior < 0.5)) {
    problems.push(`changePrior ${row.changePrior}: expected above 0 and below 0.5`);
  }
  if (row.lengthM !== undefined && !(row.lengthM >= 0)) {
    problems.push(`lengthM ${row.lengthM}: expected metres, 0 or more`);
  }
  const { lat, lon } = row.position ?? { lat: 0, lon: 0 };
  if (!(Math.abs(lat) <= 90 && Math.abs(lon) <= 180)) {
    problems.push(`lat ${lat}, lon ${lon}: expected degrees (WGS 84), -90 to 90 and -180 to 180`);
  }
  return problems;
}

function placeProblems(document: FeederDocument, phases: readonly string[], sections: ReadonlySet<string>): string[] {
  const problems: string[] = [];
  const phasesOf = new Map<string, readonly string[]>();
  for (const s of [...document.sections, ...(document.switches ?? []), ...(document.transformers ?? [])]) {
    phasesOf.set(s.id, s.phases);
  }
  const seen = new Set<string>();
  (document.terminals ?? []).forEach((t, i) => {
    const where = `terminals[${i}] (${t.id})`;
    if (seen.has(t.id)) problems.push(`${where}: id is used twice; expected an id of its own`);
    seen.add(t.id);
    if (!sections.has(t.section))
      problems.push(`${where}: section ${t.section} is not known; expected the id of a section`);
    else if (!phasesOf.get(t.section)?.includes(t.phase)) {
      problems.push(
        `${where}: phase ${t.phase} is not on section ${t.section}; expected one of ${phasesOf.get(t.section)?.join(', ')}`,
      );
    }
  });
  const loads = new Set<string>();
  (document.loads ?? []).forEach((l, i) => {
    const where = `loads[${i}] (${l.id})`;
    if (loads.has(l.id)) problems.push(`${where}: id is used twice; expected an id of its own`);
    loads.add(l.id);
    const present = phasesOf.get(l.section) ?? phases;
    if (!sections.has(l.section))
      problems.push(`${where}: section ${l.section} is not known; expected the id of a section`);
    if (l.phases.length === 0 || l.phases.some((p) => !present.includes(p))) {
      problems.push(`${where}: phases ${JSON.stringify(l.phases)}; expected ones of ${present.join(', ')}`);
    }
    if (!Number.isFinite(l.kw)) problems.push(`${where}: kw ${l.kw}; expected a number`);
  });
  return problems;
}
