/** The reading on the wire: an angle, a voltage, or both, taken at one terminal at one instant. */
import { type Static, Type } from '@sinclair/typebox';
import { Instant, Name, SCHEMA_BASE } from './envelope';

export const Clock = Type.Object({
  source: Type.Optional(
    Type.Union(['gnss', 'ptp', 'ntp', 'radio', 'holdover', 'free-running', 'unknown'].map((s) => Type.Literal(s))),
  ),
  errorUs: Type.Optional(
    Type.Number({ minimum: 0, maximum: 1e9, description: 'standard error of the time stamp, microseconds' }),
  ),
  locked: Type.Optional(Type.Boolean({ description: 'the instrument says it is locked to its time source' })),
  holdoverS: Type.Optional(Type.Number({ minimum: 0, description: 'seconds since the time source was lost' })),
  driftPpm: Type.Optional(
    Type.Number({ minimum: 0, description: 'bound on the oscillator error in holdover, parts per million' }),
  ),
});
export type Clock = Static<typeof Clock>;

export const Instrument = Type.Object({
  id: Name('instrument id'),
  selfTest: Type.Optional(Type.Union([Type.Literal('pass'), Type.Literal('fail'), Type.Literal('not-run')])),
  batteryPct: Type.Optional(Type.Number({ minimum: 0, maximum: 100 })),
  calibratedOn: Type.Optional(Type.String({ pattern: '^\\d{4}-\\d{2}-\\d{2}$' })),
  sequence: Type.Optional(Type.Integer({ minimum: 0, description: 'counts up by one per reading of this instrument' })),
});
export type Instrument = Static<typeof Instrument>;

export const Coupling = Type.Union(
  ['contact', 'test-point', 'air', 'unknown'].map((s) => Type.Literal(s)),
  {
    description: 'contact: on the conductor; test-point: capacitive test point of an elbow or bushing; air: no contact',
  },
);
export type Coupling = 'contact' | 'test-point' | 'air' | 'unknown';

export const VoltageIs = Type.Union([
  Type.Literal('phase-to-earth'),
  Type.Literal('phase-to-neutral'),
  Type.Literal('phase-to-phase'),
]);
export type VoltageIs = 'phase-to-earth' | 'phase-to-neutral' | 'phase-to-phase';

export const Reading = Type.Object(
  {
    kind: Type.Literal('reading'),
    id: Type.Optional(Name('derived; a given one is ignored')),
    terminal: Name('where: a path ending in the terminal, e.g. hollin-bank/F3/S118/2'),
    takenAt: Instant(),
    angleDeg: Type.Optional(
      Type.Number({
        minimum: -720,
        maximum: 720,
        description: 'degrees, lead positive unless the frame says otherwise',
      }),
    ),
    against: Type.Optional(
      Name('"utc" (synchrophasor sense, IEC/IEEE 60255-118-1) or the id of the reference already subtracted'),
    ),
    sigmaDeg: Type.Optional(
      Type.Number({
        exclusiveMinimum: 0,
        maximum: 180,
        description: 'standard uncertainty of the angle, time error not included',
      }),
    ),
    voltageV: Type.Optional(Type.Number({ minimum: 0, maximum: 2e6 })),
    voltageIs: Type.Optional(VoltageIs),
    frequencyHz: Type.Optional(Type.Number({ minimum: 10, maximum: 500 })),
    clock: Type.Optional(Clock),
    coupling: Type.Optional(Coupling),
    instrument: Type.Optional(Instrument),
    by: Type.Optional(Name('who took it')),
    job: Type.Optional(Name('the visit or work order it belongs to')),
    corrects: Type.Optional(
      Name('id of a reading of this terminal and instrument that was written down wrong: this one holds in its place'),
    ),
    note: Type.Optional(Type.String({ maxLength: 2000 })),
    position: Type.Optional(
      Type.Object({
        lat: Type.Number({ minimum: -90, maximum: 90 }),
        lon: Type.Number({ minimum: -180, maximum: 180 }),
      }),
    ),
  },
  {
    $id: `${SCHEMA_BASE}reading.schema.json`,
    $schema: 'https://json-schema.org/draft/2020-12/schema',
    description:
      'An angle, a voltage, or both, read at one terminal at one instant. Required: terminal, takenAt and angleDeg or voltageV.',
    anyOf: [{ required: ['angleDeg'] }, { required: ['voltageV'] }],
  },
);
type Wire = Omit<Static<typeof Reading>, 'coupling' | 'clock'>;
/** A validated reading with its derived id and normalised instant. */
export type Reading = Readonly<Wire & { id: string; coupling?: Coupling; clock?: Clock }>;
