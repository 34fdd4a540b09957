/** Every terminal of the visit, what was read, and whether it is stored; touching one corrects it or reads it again. */
import { PARTS } from './entry-form';
import { fateOf } from './outbox';
import { chosenStep, current, entries, hasTwo, instrumentOf, steps } from './visit';
import { degrees, volts } from './words';

export function StepList() {
  return (
    <section aria-label="Terminals">
      <h2>Terminals</h2>
      <ol class="choices">
        {steps.value.map((step) => {
          const reading = entries.value[step.key];
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
                <span>{reading ? `${said.join(', ')} · ${fateOf(reading.id)}` : 'not read'}</span>
              </button>
            </li>
          );
        })}
      </ol>
    </section>
  );
}
