/** Frames of IEEE C37.118.2-2011 as values. Field names in comments are the standard's; layouts are from memory of it. */
import type { Problem } from '../records';

/** SYNC and the four fields after it, the same in every frame. */
export interface Head {
  /** 1: IEEE C37.118-2005, 2: IEEE C37.118.2-2011 */
  readonly version: number;
  /** IDCODE of the stream */
  readonly idCode: number;
  readonly time: FrameTime;
}

/** SOC and FRACSEC as they stand in the frame. */
export interface FrameTime {
  /** SOC, seconds since 1970-01-01T00:00:00Z, leap seconds left out */
  readonly soc: number;
  /** low 24 bits of FRACSEC, in ticks of TIME_BASE a second */
  readonly fraction: number;
  /** high 8 bits of FRACSEC: leap second bits and MSG_TQ */
  readonly quality: number;
}

/** CMD of a command frame. */
export const COMMANDS = {
  'data-off': 1,
  'data-on': 2,
  'send-header': 3,
  'send-config-1': 4,
  'send-config-2': 5,
  'send-config-3': 6,
  extended: 8,
} as const;

export interface CommandFrame extends Head {
  readonly type: 'command';
  /** CMD; the standard's own are in COMMANDS */
  readonly command: number;
  /** EXTFRAME; empty unless the command is extended */
  readonly extended: Uint8Array;
}

export interface HeaderFrame extends Head {
  readonly type: 'header';
  /** for people; ASCII */
  readonly text: string;
}

/** A phasor channel. */
export interface PhasorChannel {
  readonly name: string;
  readonly isCurrent: boolean;
  /** CFG-1/2: PHUNIT, 1e-5 V or A a count of 16-bit numbers */
  readonly unit?: number;
  /** CFG-3: PHSCALE */
  readonly scale?: PhasorScale;
}

export interface PhasorScale {
  /** modifications applied, 16 bits */
  readonly flags: number;
  /** low bits of the third byte; which component or phase: 0 zero, 1 positive, 2 negative sequence, 4 A, 5 B, 6 C */
  readonly component: number;
  /** the fourth byte, for the user */
  readonly user: number;
  /** volts or amperes a count of 16-bit numbers */
  readonly factor: number;
  /** subtracted from the angle, radians */
  readonly angleRad: number;
}

export interface AnalogChannel {
  readonly name: string;
  /** CFG-1/2: ANUNIT, type in the high byte and a signed factor in the low 24 bits */
  readonly unit?: number;
  /** CFG-3: ANSCALE, value = factor * count + offset */
  readonly scale?: { readonly factor: number; readonly offset: number };
}

/** A word of 16 status bits. */
export interface DigitalWord {
  readonly names: readonly string[];
  /** normal state of each bit */
  readonly normal: number;
  /** bits that are in use */
  readonly valid: number;
}

/** FORMAT of a PMU. */
export interface Format {
  readonly isPolar: boolean;
  readonly floatPhasors: boolean;
  readonly floatAnalogs: boolean;
  readonly floatFrequency: boolean;
}

/** What CFG-3 says of a PMU beyond CFG-2. */
export interface Installation {
  /** G_PMU_ID, 16 bytes as 32 hexadecimal digits */
  readonly globalId: string;
  /** degrees; infinite when not given */
  readonly lat: number;
  readonly lon: number;
  readonly elevationM: number;
  readonly serviceClass: 'M' | 'P' | '';
  readonly windowUs: number;
  readonly groupDelayUs: number;
}

export interface PmuConfig {
  /** STN */
  readonly station: string;
  readonly idCode: number;
  readonly format: Format;
  readonly phasors: readonly PhasorChannel[];
  readonly analogs: readonly AnalogChannel[];
  readonly digitals: readonly DigitalWord[];
  /** FNOM */
  readonly nominalHz: 50 | 60;
  /** CFGCNT, counts changes of the configuration */
  readonly changes: number;
  readonly installation?: Installation;
}

export interface ConfigFrame extends Head {
  readonly type: 'config-1' | 'config-2' | 'config-3';
  /** ticks a second of FRACSEC */
  readonly timeBase: number;
  readonly pmus: readonly PmuConfig[];
  /** DATA_RATE: frames a second when positive, seconds a frame when negative */
  readonly dataRate: number;
  /** CFG-3: CONT_IDX, 0 when the configuration is in one frame */
  readonly part?: number;
}

/** What one PMU says in a data frame: the numbers as they stand, before any scaling. */
export interface PmuData {
  /** STAT */
  readonly stat: number;
  /** two numbers a phasor: real and imaginary, or magnitude and angle */
  readonly phasors: readonly number[];
  /** FREQ: Hz as float, else mHz from the nominal */
  readonly frequency: number;
  /** DFREQ: Hz/s as float, else 0.01 Hz/s */
  readonly frequencyRate: number;
  readonly analogs: readonly number[];
  readonly digitals: readonly number[];
}

export interface DataFrame extends Head {
  readonly type: 'data';
  readonly pmus: readonly PmuData[];
}

export type Frame37118 = CommandFrame | HeaderFrame | ConfigFrame | DataFrame;

/** A frame, or why the bytes are none. */
export type Decoded<T> = { readonly ok: true; readonly frame: T } | { readonly ok: false; readonly problem: Problem };
