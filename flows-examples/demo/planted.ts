/** What was planted in the story, for the summary and for the test to hold the findings against. */

export interface PlantedOpenPoint {
  readonly id: string;
  readonly left: string;
  readonly right: string;
  /** how the right side really lands on the left one */
  readonly truth: 'straight' | 'rolled' | 'swapped';
  /** what may be said of it; not-proven where the readings do not carry more */
  readonly verdict: 'same-phase' | 'not-the-same-phase' | 'not-proven';
}

export const OPEN_POINTS: readonly PlantedOpenPoint[] = [
  openPoint('OP-17', 'F3/S118', 'F7/R17', 'straight', 'same-phase'),
  openPoint('OP-23', 'F3/S115', 'F7/R23', 'rolled', 'not-the-same-phase'),
  openPoint('OP-31', 'F3/S107', 'F7/R31', 'swapped', 'not-the-same-phase'),
  // Rolled as well, but read with a clock that is a third of a cycle late: the raw angles look straight.
  openPoint('OP-42', 'F3/S112', 'F7/R42', 'rolled', 'not-proven'),
];

function openPoint(
  id: string,
  left: string,
  right: string,
  truth: PlantedOpenPoint['truth'],
  verdict: PlantedOpenPoint['verdict'],
): PlantedOpenPoint {
  return { id: `quillmere/${id}`, left: `quillmere/${left}`, right: `quillmere/${right}`, truth, verdict };
}

/** Terminals whose record is wrong and whose readings show it. */
export const WRONG_RECORDS: readonly string[] = [
  ...['S125', 'S126'].map((site) => `quillmere/F3/${site}/1`),
  ...['1', '2', '3'].map((k) => `quillmere/F7/R23/${k}`),
  ...['2', '3'].map((k) => `quillmere/F7/R31/${k}`),
];

/** Terminals read with a clock nobody can vouch for: nothing may be said of their phase. */
export const NOT_PROVEN: readonly string[] = ['1', '2', '3'].map((k) => `quillmere/F7/R42/${k}`);

/** The site whose conductors turn the other way than its record says. */
export const REVERSED_SITE = 'quillmere/F7/R31';

/** Every reading of it is sent twice. */
export const SENT_TWICE = 'quillmere/F3/S115/2';

export const REJECTIONS = [
  { stage: 'front-door', terminal: 'quillmere/F3/S124/1', told: 'a message that is no reading' },
  { stage: 'screen', terminal: 'quillmere/F3/S121/1', told: 'an instrument that failed its self-test' },
] as const;
