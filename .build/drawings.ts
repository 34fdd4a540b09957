/** Makes the drawings of lib/VERDICTS.md, each from readings that go through the library: `npm run docs`. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { compareOpenPoint, identify, makeFrame, parseReading, phaseStyles, phasorDiagram, type Reading } from '../lib';

const frame = makeFrame({ references: [{ id: 'station' }] });
const styles = phaseStyles(frame.phases);
const folder = join(__dirname, '../lib/drawings');

function read(terminal: string, angleDeg: number, seconds: number, more: object = {}): Reading {
  const parsed = parseReading({
    terminal,
    takenAt: `2026-05-04T10:15:${String(seconds).padStart(2, '0')}Z`,
    angleDeg,
    against: 'station',
    sigmaDeg: 1.5,
    clock: { source: 'gnss', errorUs: 1, locked: true },
    voltageV: 7210,
    voltageIs: 'phase-to-earth',
    ...more,
  });
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  return parsed.reading;
}

const save = (name: string, svg: string) => writeFileSync(join(folder, `${name}.svg`), `${svg}\n`);
const slots = frame.phases.map((letter, k) => ({
  label: '',
  letter,
  angleDeg: -120 * k,
  length: 0.55,
}));

function identification(name: string, title: string, reading: Reading): void {
  const found = identify([reading], frame);
  const arrow = {
    label: 'reading',
    letter: found.phase === null ? '?' : '',
    angleDeg: reading.angleDeg!,
    sdDeg: found.sdDeg ?? 0,
  };
  save(name, phasorDiagram([...slots, arrow], { title: `${title}: ${found.verdict}`, styles }));
  console.log(
    `${name}: ${found.verdict} ${found.phase ?? ''} ${found.probability ?? ''} ${found.reasons.map((r) => r.code)}`,
  );
}

identification('identified', 'A reading near where B is expected', read('pole 12/1', -114, 10));
identification('between', 'A reading half way between two phases', read('pole 12/1', -61, 10, { sigmaDeg: 8 }));
identification(
  'no-clock',
  'A reading whose clock error is not known',
  read('pole 12/1', -114, 10, { clock: { source: 'gnss' } }),
);

const left = [0, -120, 120].map((a, k) => read(`left/${k + 1}`, a, k));
const right = [121, 1, -119].map((a, k) => read(`right/${k + 1}`, a, 10 + k));
const terminals = new Map([...left, ...right].map((r) => [r.terminal, { id: r.terminal, nominalV: 12470 }]));
const tie = compareOpenPoint(left, right, { openPoint: 'tie', frame, toleranceDeg: 10, terminals });
const drawn = (side: readonly Reading[]) =>
  side.map((r, k) => ({ label: r.terminal, letter: String(k + 1), angleDeg: r.angleDeg!, sdDeg: r.sigmaDeg! }));
save('left', phasorDiagram(drawn(left), { title: 'The left side of an open point' }));
save('right', phasorDiagram(drawn(right), { title: `The right side: ${tie.verdict}, ${tie.landing}` }));
console.log(
  tie.verdict,
  tie.landing,
  tie.belongs.map((b) => `${b.left} belongs with ${b.right}`).join('; '),
  tie.reasons.map((r) => r.code),
);
