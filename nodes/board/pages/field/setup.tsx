/** Who reads, against what, and with which instruments. Stated once, kept in this browser. */
import { useSignal } from '@preact/signals';
import type { VoltageIs } from '../../../../lib/records';
import type { FieldInstrument } from '../../field/entry';
import { pack } from './pack';
import { type Crew, crew, isAtPoint, unstated } from './visit';

const state = (change: Partial<Crew>): void => {
  crew.value = { ...crew.value, ...change };
};

export function Setup() {
  const { by, job, hasTwo, left, right, voltageIs } = crew.value;
  // Open at first when something is missing; from then on as the crew leaves it.
  const isOpen = useSignal(unstated.value.length > 0);
  return (
    <details open={isOpen.value} onToggle={(e) => (isOpen.value = e.currentTarget.open)}>
      <summary>Crew and instruments</summary>
      <Text label="Who reads" value={by} onText={(text) => state({ by: text })} />
      <Text label="Visit or work order (optional)" value={job} onText={(text) => state({ job: text })} />
      <Against />
      <Choice
        label="Voltages are"
        value={voltageIs}
        options={['phase-to-neutral', 'phase-to-earth', 'phase-to-phase']}
        onChoice={(chosen) => state({ voltageIs: chosen as VoltageIs })}
      />
      <InstrumentFields
        name={isAtPoint.value && hasTwo ? 'Instrument, left side' : 'Instrument'}
        value={left}
        onChange={(i) => state({ left: i })}
      />
      {isAtPoint.value && (
        <Tick label="Another instrument on the right side" on={hasTwo} onTick={(on) => state({ hasTwo: on })} />
      )}
      {isAtPoint.value && hasTwo && (
        <InstrumentFields name="Instrument, right side" value={right} onChange={(i) => state({ right: i })} />
      )}
    </details>
  );
}

function Against() {
  const references = pack.value?.frame.references ?? [];
  const { against } = crew.value;
  if (references.length === 0)
    return <Text label="Read against (reference)" value={against} onText={(text) => state({ against: text })} />;
  return (
    <Choice
      label="Angles are read against"
      value={against}
      options={['', ...references.map((r) => r.id)]}
      onChoice={(chosen) => state({ against: chosen })}
    />
  );
}

interface InstrumentProps {
  readonly name: string;
  readonly value: FieldInstrument;
  readonly onChange: (value: FieldInstrument) => void;
}

function InstrumentFields({ name, value, onChange }: InstrumentProps) {
  const change = (part: Partial<FieldInstrument>) => onChange({ ...value, ...part });
  return (
    <fieldset>
      <legend>{name}</legend>
      <Text label="Number of the instrument" value={value.id} onText={(id) => change({ id })} />
      <Tick
        label="It shows that it is locked to its time source"
        on={value.isLocked}
        onTick={(isLocked) => change({ isLocked })}
      />
      <Text
        label="Time error that it shows, microseconds"
        value={value.errorUs}
        numeric
        onText={(errorUs) => change({ errorUs })}
      />
      <Choice
        label="Coupling"
        value={value.coupling}
        options={['contact', 'test-point', 'air', 'unknown']}
        onChoice={(coupling) => change({ coupling: coupling as FieldInstrument['coupling'] })}
      />
      <Choice
        label="Self-test today"
        value={value.selfTest}
        options={['not-run', 'pass', 'fail']}
        onChoice={(selfTest) => change({ selfTest: selfTest as FieldInstrument['selfTest'] })}
      />
      <label>
        Calibrated on
        <input
          type="date"
          value={value.calibratedOn}
          onInput={(e) => change({ calibratedOn: e.currentTarget.value })}
        />
      </label>
    </fieldset>
  );
}

interface TextProps {
  readonly label: string;
  readonly value: string;
  readonly numeric?: boolean;
  readonly onText: (text: string) => void;
}

function Text({ label, value, numeric, onText }: TextProps) {
  return (
    <label>
      {label}
      <input
        value={value}
        maxLength={200}
        inputMode={numeric ? 'decimal' : 'text'}
        autocomplete="off"
        onInput={(e) => onText(e.currentTarget.value.trim())}
      />
    </label>
  );
}

interface ChoiceProps {
  readonly label: string;
  readonly value: string;
  readonly options: readonly string[];
  readonly onChoice: (chosen: string) => void;
}

function Choice({ label, value, options, onChoice }: ChoiceProps) {
  return (
    <label>
      {label}
      <select value={value} onChange={(e) => onChoice(e.currentTarget.value)}>
        {options.map((o) => (
          <option key={o} value={o}>
            {o === '' ? 'choose' : o.replaceAll('-', ' ')}
          </option>
        ))}
      </select>
    </label>
  );
}

function Tick({ label, on, onTick }: { label: string; on: boolean; onTick: (on: boolean) => void }) {
  return (
    <label class="tick">
      <input type="checkbox" checked={on} onChange={(e) => onTick(e.currentTarget.checked)} />
      <span>{label}</span>
    </label>
  );
}
