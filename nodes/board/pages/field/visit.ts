/** The visit under way: who, where, with which instruments, and what was read so far. */
import { batch, computed, signal } from '@preact/signals';
import { takenAtUs } from '../../../../lib/reading';
import type { Reading, VoltageIs } from '../../../../lib/records';
import { entered, type FieldInstrument, type Typed } from '../../field/entry';
import { saysSoFar } from '../../field/says';
import { type Place, type Step, stepsAt } from '../../field/steps';
import { kept } from './kept';
import { fateOf, forget, put } from './outbox';
import { network, pack, tieRule } from './pack';

export interface Crew {
  readonly by: string;
  readonly job: string;
  readonly against: string;
  readonly voltageIs: VoltageIs;
  /** the right side is read with an instrument of its own */
  readonly hasTwo: boolean;
  readonly left: FieldInstrument;
  readonly right: FieldInstrument;
}

const BLANK: FieldInstrument = {
  id: '',
  isLocked: false,
  errorUs: '',
  selfTest: 'not-run',
  calibratedOn: '',
  coupling: 'contact',
};

export const crew = kept<Crew>('crew', {
  by: '',
  job: '',
  against: '',
  voltageIs: 'phase-to-neutral',
  hasTwo: false,
  left: BLANK,
  right: BLANK,
});
export const place = kept<Place | null>('place', null);
/** by key of the step */
export const entries = kept<Readonly<Record<string, Reading>>>('entries', {});
export const chosenStep = signal<string | null>(null);
/** key of the step that was entered last: what was typed wrong is mostly noticed at once */
export const lastStep = kept<string | null>('last', null);

export const isAtPoint = computed(() => place.value?.kind === 'open-point');
export const hasTwo = computed(() => isAtPoint.value && crew.value.hasTwo);
export const steps = computed(() =>
  network.value && place.value
    ? stepsAt(network.value, place.value, {
        hasOne: !hasTwo.value,
        needsCommon: tieRule.value.requireProof === 'common-conductor',
      })
    : [],
);
/** What counts: read, and stored or on its way there. */
export const done = computed(() =>
  steps.value.flatMap((step) => {
    const reading = entries.value[step.key];
    return reading && isHeld(reading) ? [{ step, reading }] : [];
  }),
);
const isHeld = ({ id }: Reading): boolean => ['stored', 'to be sent'].includes(fateOf(id));
/** the step chosen by hand, else the first that was not read */
export const current = computed(
  () => steps.value.find((s) => s.key === chosenStep.value) ?? steps.value.find((s) => !entries.value[s.key]),
);
export const says = computed(() => {
  const { value: known } = network;
  return pack.value && known && place.value
    ? saysSoFar(pack.value.frame, known, place.value, steps.value, done.value, tieRule.value)
    : undefined;
});

/** What the crew has still to state before it can read. */
export const unstated = computed<readonly string[]>(() => {
  const { by, against, left, right } = crew.value;
  return [
    by === '' ? 'who reads' : '',
    against === '' ? 'what the angles are read against' : '',
    left.id === '' ? 'the instrument' : '',
    hasTwo.value && right.id === '' ? 'the instrument of the right side' : '',
    hasTwo.value && right.id !== '' && right.id === left.id ? 'two different instruments' : '',
  ].filter((text) => text !== '');
});

export const instrumentOf = (step: Step): FieldInstrument =>
  hasTwo.value && step.side === 'right' ? crew.value.right : crew.value.left;

export function goTo(chosen: Place | null): void {
  batch(() => {
    place.value = chosen;
    entries.value = {};
    chosenStep.value = null;
    lastStep.value = null;
  });
}

/** The place named in the address, unless one is gone to already with entries made. */
export function goToNamed(id: string | null): void {
  const known = network.value;
  if (!id || !known || place.value?.id === id || Object.keys(entries.value).length > 0) return;
  if (known.openPoints.has(id)) goTo({ kind: 'open-point', id });
  else if (known.sites.has(id)) goTo({ kind: 'site', id });
}

/** Where the job sheet of this visit stands; undefined before anything was read. */
export const sheetAddress = computed(() => {
  const instants = done.value.map(({ reading }) => reading.takenAt).sort();
  const [from, to] = [instants[0], instants.at(-1)];
  if (!place.value || !from || !to) return undefined;
  const asked = { place: place.value.id, from, to, ...(crew.value.job === '' ? {} : { job: crew.value.job }) };
  return `job-sheet.html?${new URLSearchParams(asked)}`;
});

/** read: taken now. correct: what was taken before, typed wrong then; the instant stays. */
export type Way = 'read' | 'correct';

/** Takes what was typed for a step; gives what is wrong with it, or undefined when it was taken. */
export function enter(
  step: Step,
  angle: string,
  voltage: string,
  way: Way,
): Readonly<Record<string, string>> | undefined {
  const before = entries.value[step.key];
  const isCorrection = way === 'correct' && before !== undefined;
  if (isCorrection && !canCorrect(step, before)) {
    return { instrument: `${before.instrument?.id ?? 'another instrument'} read it: read it again just now` };
  }
  const made = entered(
    typedFor(step, angle, voltage, before, isCorrection),
    isCorrection ? takenAtUs(before) : nowUs(),
  );
  if (!made.ok) return made.problems;
  batch(() => {
    put(made.reading);
    entries.value = { ...entries.value, [step.key]: made.reading };
    chosenStep.value = null;
    lastStep.value = step.key;
  });
  return undefined;
}

/** Takes away a refused reading; its terminal is then not read. */
export function takeAway(id: string): void {
  batch(() => {
    forget(id);
    entries.value = Object.fromEntries(Object.entries(entries.value).filter(([, reading]) => reading.id !== id));
  });
}

const nowUs = (): number => Date.now() * 1000;

/** A figure may have been typed wrong; what another instrument would have shown then, nobody knows. */
export const canCorrect = (step: Step, before: Reading): boolean => before.instrument?.id === instrumentOf(step).id;

/** Both stay in the record: the one before is named. What is corrected keeps all that was stated when it was read. */
function typedFor(
  step: Step,
  angle: string,
  voltage: string,
  before: Reading | undefined,
  isCorrection: boolean,
): Typed {
  const { against, by, job, voltageIs } = crew.value;
  const typed = {
    terminal: step.terminal,
    angle,
    voltage,
    voltageIs,
    against,
    instrument: instrumentOf(step),
    by,
    job,
  };
  if (!before) return typed;
  if (!isCorrection) return { ...typed, note: `read again; before: ${before.id}` };
  return { ...typed, ...statedThen(before, typed), corrects: before.id, note: 'typed wrong before' };
}

/** What the crew has stated since, such as that the instrument is locked now, says nothing of the instant of the reading. */
function statedThen({ against, voltageIs, by, job, clock, coupling, instrument }: Reading, now: Typed): Partial<Typed> {
  return {
    against: against ?? now.against,
    voltageIs: voltageIs ?? now.voltageIs,
    by: by ?? '',
    job: job ?? '',
    instrument: {
      id: instrument?.id ?? '',
      isLocked: clock?.locked === true,
      errorUs: clock?.errorUs === undefined ? '' : String(clock.errorUs),
      selfTest: instrument?.selfTest ?? 'not-run',
      calibratedOn: instrument?.calibratedOn ?? '',
      coupling: coupling ?? now.instrument.coupling,
    },
  };
}
