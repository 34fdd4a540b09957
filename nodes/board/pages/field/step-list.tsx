/** Every terminal of the visit, what was read, and whether it is stored; touching one corrects it or reads it again. */
import { PARTS } from './entry-form';
import { refused, waiting } from './outbox';
import { chosenStep, current, entries, hasTwo, instrumentOf, steps } from './visit';
import { degrees, volts } from './words';

export function StepList() {
  const unsent = new Set(waiting.value.map((w) => w.reading.id));
  const bad = new Set(refused.value.map((w) => w.reading.id));
  return (
    <section aria-label="Terminals">
      <h2>Terminals</h2>
      <ol class="choices">
        {steps.value.map((step) => {
          const reading = entries.value[step.key];
          const fate = !reading
            ? ''
            : bad.has(reading.id)
              ? 'refused'
              : unsent.has(reading.id)
                ? 'to be sent'
                : 'stored';
          const said = [
            reading?.angleDeg === undefined ? '' : degrees(reading.angleDeg),
            reading?.voltageV === undefined ? '' : volts(reading.voltageV),
            reading?.corrects === undefined ? '' : 'corrected',
          ].filter(Boolean);
          return (
            <li key={step.key}>
              <button
                type="button"
                aria-current={current.value === step ? 'step' : undefined}
                onClick={() => (chosenStep.value = step.key)}
              >
                <b>{step.terminal}</b>
                <span>
                  {PARTS[step.part]}
                  {hasTwo.value ? `, ${instrumentOf(step).id}` : ''}
                </span>
                <span>{reading ? `${said.join(', ')} · ${fate}` : 'not read'}</span>
              </button>
            </li>
          );
        })}
      </ol>
    </section>
  );
}
