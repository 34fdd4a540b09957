/** One terminal at a time: the angle the instrument shows, the voltage if it was read, and on to the next. */
import { useSignal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import type { Step } from '../../field/steps';
import { crew, current, enter, entries, instrumentOf, steps } from './visit';

export function EntryForm() {
  const step = current.value;
  if (!step) return <p class="note">Every terminal here was read. Touch one below to read it again.</p>;
  return <StepForm key={`${step.key} ${entries.value[step.key]?.id ?? ''}`} step={step} />;
}

export const PARTS: Readonly<Record<Step['part'], string>> = {
  before: 'Common conductor, before',
  left: 'Left side',
  right: 'Right side',
  after: 'Common conductor, after',
  site: 'Terminal',
};

function StepForm({ step }: { readonly step: Step }) {
  const angle = useSignal('');
  const voltage = useSignal('');
  const problems = useSignal<Readonly<Record<string, string>>>({});
  const field = useRef<HTMLInputElement>(null);
  useEffect(() => {
    // The form appears while the crew still types who they are: then the focus stays there.
    if (!document.activeElement?.matches('input, select')) field.current?.focus({ preventScroll: true });
  }, []);
  const take = (e: Event) => {
    e.preventDefault();
    problems.value = enter(step, angle.value, voltage.value) ?? {};
  };
  const place = steps.value.indexOf(step) + 1;
  return (
    <form class="entry" onSubmit={take} noValidate>
      <p class="which">
        {place} of {steps.value.length} · {PARTS[step.part]} · instrument {instrumentOf(step).id}
      </p>
      <h3>{step.terminal}</h3>
      <label for="angle">Angle, degrees against {crew.value.against}</label>
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
        Next terminal
      </button>
    </form>
  );
}

/** The keypads of some phones have no minus sign. */
const turned = (text: string): string => (/^\s*[-−–]/.test(text) ? text.replace(/^\s*[-−–]/, '') : `-${text.trim()}`);
