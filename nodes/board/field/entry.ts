/** What a person typed, made a reading, or what is wrong with it. The front door checks it again. */
import { derivedId } from '../../../lib/derived-id';
import { formatInstant } from '../../../lib/instant';
import type { Coupling, Reading, VoltageIs } from '../../../lib/records';

/** What the crew states of an instrument. */
export interface FieldInstrument {
  readonly id: string;
  /** it shows that it is locked to its time source */
  readonly isLocked: boolean;
  /** the standard error of its time that it shows, microseconds; empty: it shows none */
  readonly errorUs: string;
  readonly selfTest: 'pass' | 'fail' | 'not-run';
  /** yyyy-mm-dd, or empty */
  readonly calibratedOn: string;
  readonly coupling: Coupling;
}

export interface Typed {
  readonly terminal: string;
  /** degrees, as shown by the instrument */
  readonly angle: string;
  /** volts; may be empty */
  readonly voltage: string;
  readonly voltageIs: VoltageIs;
  /** reference that the instrument has subtracted */
  readonly against: string;
  readonly instrument: FieldInstrument;
  readonly by: string;
  readonly job: string;
  readonly note?: string;
  /** id of the reading that was typed wrong */
  readonly corrects?: string;
}

export type Entered =
  | { readonly ok: true; readonly reading: Reading }
  | { readonly ok: false; readonly problems: Readonly<Partial<Record<Field, string>>> };
type Field = 'angle' | 'voltage' | 'errorUs';

/**
 * The reading that was typed, taken at an instant.
 * @example entered({ ...typed, angle: '-118,4' }, 1777900000000000) // ok, angleDeg -118.4
 */
export function entered(typed: Typed, takenUs: number): Entered {
  const angleDeg = numberIn(typed.angle);
  const voltageV = numberIn(typed.voltage);
  const errorUs = numberIn(typed.instrument.errorUs);
  const problems: Partial<Record<Field, string>> = {};
  if (angleDeg === undefined && voltageV === undefined) problems.angle = 'type the angle that the instrument shows';
  if (!within(angleDeg, -720, 720)) problems.angle = `${typed.angle} is no angle; right would be -720 to 720 degrees`;
  if (THOUSANDS.test(typed.voltage.trim()))
    problems.voltage = `${typed.voltage} may be ${typed.voltage.replace(/[.,]/, '')} or a fraction; type volts without a thousands separator`;
  else if (!within(voltageV, 0, 2e6))
    problems.voltage = `${typed.voltage} is no voltage; right would be volts, such as 2400`;
  if (!within(errorUs, 0, 1e9))
    problems.errorUs = `${typed.instrument.errorUs} is no time error; right would be microseconds, such as 1`;
  if (Object.keys(problems).length > 0) return { ok: false, problems };
  const content = contentOf(typed, takenUs, angleDeg, voltageV, errorUs);
  return { ok: true, reading: Object.freeze({ ...content, id: derivedId('reading', content) }) };
}

function contentOf(
  typed: Typed,
  takenUs: number,
  angleDeg: number | undefined,
  voltageV: number | undefined,
  errorUs: number | undefined,
): Omit<Reading, 'id'> {
  const { id, selfTest, calibratedOn, isLocked, coupling } = typed.instrument;
  return {
    kind: 'reading',
    terminal: typed.terminal,
    takenAt: formatInstant(takenUs),
    ...(angleDeg === undefined ? {} : { angleDeg, against: typed.against }),
    ...(voltageV === undefined ? {} : { voltageV, voltageIs: typed.voltageIs }),
    clock: { locked: isLocked, ...(errorUs === undefined ? {} : { errorUs }) },
    coupling,
    instrument: { id, selfTest, ...(calibratedOn === '' ? {} : { calibratedOn }) },
    ...(typed.by === '' ? {} : { by: typed.by }),
    ...(typed.job === '' ? {} : { job: typed.job }),
    ...(typed.corrects ? { corrects: typed.corrects } : {}),
    ...(typed.note ? { note: typed.note } : {}),
  };
}

/** Thousands to one reader and a fraction to another, such as 2,400. */
const THOUSANDS = /^[+]?[1-9]\d{0,2}[.,]\d{3}$/;

/** The number a person typed: comma or point, any minus sign; undefined when nothing was typed, NaN when it is no number. */
export function numberIn(text: string): number | undefined {
  const plain = text.trim().replace(',', '.').replace(/^[−–]/, '-').replace(/\s/g, '');
  if (plain === '') return undefined;
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : Number.NaN;
}

const within = (value: number | undefined, least: number, most: number): boolean =>
  value === undefined || (value >= least && value <= most);
