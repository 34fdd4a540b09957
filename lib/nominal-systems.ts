/**
 * Nominal voltage systems. ANSI C84.1 service voltages of ranges A and B are from memory of its Table 1; above 600 V the last digit
 * is rounding (medium confidence). IEC 60038 from public listings of the standard, two misprints in them put right from memory.
 */

export type VoltageStandard = 'ANSI C84.1' | 'IEC 60038';

export interface NominalSystem {
  readonly name: string;
  readonly standard: VoltageStandard;
  /** nominal phase-to-phase voltage, volts */
  readonly phaseToPhaseV: number;
  /** nominal phase-to-neutral voltage where there is a neutral, volts */
  readonly phaseToNeutralV: number | null;
  /** service voltage limits, phase to phase, volts; null where the standard gives none */
  readonly rangeA: readonly [number, number] | null;
  readonly rangeB: readonly [number, number] | null;
  /** supply range of IEC 60038, phase to phase, volts; null where the standard gives none */
  readonly supply: readonly [number, number] | null;
  /** highest voltage for equipment, volts */
  readonly highestV: number | null;
}

type AnsiRow = readonly [
  name: string,
  ll: number,
  ln: number | null,
  aMin: number,
  aMax: number,
  bMin: number,
  bMax: number,
];

const ANSI_ROWS: readonly AnsiRow[] = [
  ['120/240 single-phase', 240, 120, 228, 252, 220, 254],
  ['208Y/120', 208, 120, 197, 218, 191, 220],
  ['240/120 delta', 240, 120, 228, 252, 220, 254],
  ['240', 240, null, 228, 252, 220, 254],
  ['480Y/277', 480, 277, 456, 504, 440, 508],
  ['480', 480, null, 456, 504, 440, 508],
  ['600', 600, null, 570, 630, 550, 635],
  ['2400', 2400, null, 2340, 2520, 2280, 2540],
  ['4160Y/2400', 4160, 2400, 4050, 4370, 3950, 4400],
  ['4160', 4160, null, 4050, 4370, 3950, 4400],
  ['4800', 4800, null, 4680, 5040, 4560, 5080],
  ['6900', 6900, null, 6730, 7240, 6560, 7260],
  ['8320Y/4800', 8320, 4800, 8110, 8730, 7900, 8800],
  ['12000Y/6930', 12000, 6930, 11700, 12600, 11400, 12700],
  ['12470Y/7200', 12470, 7200, 12160, 13090, 11850, 13200],
  ['13200Y/7620', 13200, 7620, 12870, 13860, 12540, 13970],
  ['13800Y/7970', 13800, 7970, 13460, 14490, 13110, 14520],
  ['13800', 13800, null, 13460, 14490, 13110, 14520],
  ['20780Y/12000', 20780, 12000, 20260, 21820, 19740, 22000],
  ['22860Y/13200', 22860, 13200, 22290, 24000, 21720, 24200],
  ['23000', 23000, null, 22430, 24150, 21850, 24340],
  ['24940Y/14400', 24940, 14400, 24320, 26190, 23690, 26400],
  ['34500Y/19920', 34500, 19920, 33640, 36230, 32780, 36510],
  ['34500', 34500, null, 33640, 36230, 32780, 36510],
];

type IecRow = readonly [name: string, ll: number, ln: number | null, highest: number | null];

const IEC_ROWS: readonly IecRow[] = [
  ['120/208', 208, 120, null],
  ['120/240 single-phase', 240, 120, null],
  ['240', 240, null, null],
  ['230/400', 400, 230, null],
  ['277/480', 480, 277, null],
  ['480', 480, null, null],
  ['347/600', 600, 347, null],
  ['600', 600, null, null],
  ['400/690', 690, 400, null],
  ['1000', 1000, null, null],
  ['3 kV', 3000, null, 3600],
  ['3.3 kV', 3300, null, 3600],
  ['4.16 kV', 4160, null, 4400],
  ['6 kV', 6000, null, 7200],
  ['6.6 kV', 6600, null, 7200],
  ['10 kV', 10000, null, 12000],
  ['11 kV', 11000, null, 12000],
  ['12.47 kV', 12470, null, 13200],
  ['13.2 kV', 13200, null, 13970],
  ['13.8 kV', 13800, null, 14520],
  ['15 kV', 15000, null, 17500],
  ['20 kV', 20000, null, 24000],
  ['22 kV', 22000, null, 24000],
  ['24.94 kV', 24940, null, 26400],
  ['33 kV', 33000, null, 36000],
  ['34.5 kV', 34500, null, 36500],
  ['35 kV', 35000, null, 40500],
  ['45 kV', 45000, null, 52000],
  ['66 kV', 66000, null, 72500],
  ['69 kV', 69000, null, 72500],
  ['110 kV', 110000, null, 123000],
  ['115 kV', 115000, null, 123000],
  ['132 kV', 132000, null, 145000],
  ['138 kV', 138000, null, 145000],
  ['150 kV', 150000, null, 170000],
  ['220 kV', 220000, null, 245000],
  ['230 kV', 230000, null, 245000],
];

/** ±10 % of nominal is the supply range of IEC 60038 between 100 V and 1000 V (from memory). */
const iecSupply = (ll: number): readonly [number, number] | null => (ll <= 1000 ? [0.9 * ll, 1.1 * ll] : null);

export const NOMINAL_SYSTEMS: readonly NominalSystem[] = Object.freeze([
  ...ANSI_ROWS.map(
    ([name, ll, ln, aMin, aMax, bMin, bMax]): NominalSystem =>
      Object.freeze({
        name,
        standard: 'ANSI C84.1',
        phaseToPhaseV: ll,
        phaseToNeutralV: ln,
        rangeA: [aMin, aMax] as const,
        rangeB: [bMin, bMax] as const,
        supply: null,
        highestV: null,
      }),
  ),
  ...IEC_ROWS.map(
    ([name, ll, ln, highestV]): NominalSystem =>
      Object.freeze({
        name,
        standard: 'IEC 60038',
        phaseToPhaseV: ll,
        phaseToNeutralV: ln,
        rangeA: null,
        rangeB: null,
        supply: iecSupply(ll),
        highestV,
      }),
  ),
]);
