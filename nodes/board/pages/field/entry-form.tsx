/** One terminal at a time: the angle the instrument shows, the voltage if it was read, and on to the next. */
import { useSignal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import type { Step } from '../../field/steps';
import {
  canCorrect,
  chosenStep,
  crew,
  current,
  enter,
  entries,
  instrumentOf,
  lastStep,
  steps,
  type Way,
} from './visit';
import { degrees, instant } from './words';

export function EntryForm() {
  const step = current.value;
  const before = step && entries.value[step.key];
  return (
    <>
      {step ? (
        <StepForm key={`${step.key} ${before ? `${before.id} ${canCorrect(step, before)}` : ''}`} step={step} />
      ) : (
        <p class="note">Every terminal here was read. Touch one below to correct it or read it again.</p>
      )}
      <LastEntered />
    </>
  );
}

/** What was typed wrong is mostly noticed when it stands there. */
function LastEntered() {
  const step = steps.value.find((s) => s.key === lastStep.value);
  const reading = step && entries.value[step.key];
  if (!step || reading?.angleDeg === undefined || current.value === step) return null;
  return (
    <button type="button" class="undo" onClick={() => (chosenStep.value = step.key)}>
      Typed wrong? Correct {step.terminal}: {degrees(reading.angleDeg)}
    </button>
  );
}

export const PARTS: Readonly<Record<Step['part'], string>> = {
  before: 'Common conductor, before',
  left: 'Left side',
  right: 'Right side',
  after: 'Common conductor, after',
  site: 'Terminal',
};

function StepForm({ step }: { readonly step: Step }) {
  const before = entries.value[step.key];
  const corrected = before && canCorrect(step, before) ? before : undefined;
  const angle = useSignal(corrected?.angleDeg?.toString() ?? '');
  const voltage = useSignal(corrected?.voltageV?.toString() ?? '');
  const problems = useSignal<Readonly<Record<string, string>>>({});
  const field = useRef<HTMLInputElement>(null);
  useEffect(() => {
    // The form appears while the crew still types who they are: then the focus stays there.
    if (!document.activeElement?.matches('input, select')) field.current?.focus({ preventScroll: true });
  }, []);
  const take = (way: Way) => {
    problems.value = enter(step, angle.value, voltage.value, way) ?? {};
  };
  const submit = (e: Event) => {
    e.preventDefault();
    take(corrected ? 'correct' : 'read');
  };
  const place = steps.value.indexOf(step) + 1;
  return (
    <form class="entry" onSubmit={submit} noValidate>
      <p class="which">
        {place} of {steps.value.length} · {PARTS[step.part]} · instrument {instrumentOf(step).id}
      </p>
      <h3>{step.terminal}</h3>
      {before && (
        <p class="note">
          Entered before: {before.angleDeg === undefined ? 'no angle' : degrees(before.angleDeg)}, taken{' '}
          {instant(before.takenAt)}. It stays in the record{corrected ? ', marked as superseded' : ''}.
          {!corrected &&
            ` It was read with ${before.instrument?.id ?? 'no named instrument'}, not with ${instrumentOf(step).id}: only a new reading sets that right.`}
        </p>
      )}
      <label for="angle">Angle, degrees against {corrected?.against ?? crew.value.against}</label>
      <div class="signed">
        <button
          type="button"
          aria-label="Change the sign of the angle"
          onClick={() => (angle.value = turned(angle.value))}
        >
          ±
        </button>
        <input
          id="angle"
          ref={field}
          class="big"
          inputMode="decimal"
          autocomplete="off"
          enterKeyHint="next"
          value={angle.value}
          aria-invalid={problems.value.angle !== undefined}
          aria-describedby="problems"
          onInput={(e) => (angle.value = e.currentTarget.value)}
        />
      </div>
      <label for="voltage">Voltage, volts (optional)</label>
      <input
        id="voltage"
        class="big"
        inputMode="decimal"
        autocomplete="off"
        enterKeyHint="next"
        value={voltage.value}
        aria-invalid={problems.value.voltage !== undefined}
        aria-describedby="problems"
        onInput={(e) => (voltage.value = e.currentTarget.value)}
      />
      <p id="problems" class={Object.keys(problems.value).length > 0 ? 'error' : ''} role="alert">
        {Object.values(problems.value).join('; ')}
      </p>
      <button type="submit" class="next">
        {corrected ? 'Correct what was typed' : before ? 'Read again just now' : 'Next terminal'}
      </button>
      {corrected && (
        <button type="button" class="undo" onClick={() => take('read')}>
          Read again just now
        </button>
      )}
      {before && (
        <button type="button" class="undo" onClick={() => (chosenStep.value = null)}>
          Leave it as it is
        </button>
      )}
    </form>
  );
}

/** The keypads of some phones have no minus sign. */
const turned = (text: string): string => (/^\s*[-−–]/.test(text) ? text.replace(/^\s*[-−–]/, '') : `-${text.trim()}`);
