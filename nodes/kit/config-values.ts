/** Reading what the editor saved: numbers come as texts, and what was left empty takes its default. */
import { Trouble } from './trouble';

export type NumberSetting = string | number | undefined;

export interface Bounds {
  readonly least: number;
  readonly most: number;
}

/** @throws Trouble 'config' that names the setting and what would be right */
export function numberOr(otherwise: number, name: string, given: NumberSetting, bounds: Bounds): number {
  return optionalNumber(name, given, bounds) ?? otherwise;
}

/** Undefined when left empty. @throws Trouble 'config' that names the setting and what would be right */
export function optionalNumber(name: string, given: NumberSetting, { least, most }: Bounds): number | undefined {
  if (given === undefined || given === null || String(given).trim() === '') return undefined;
  const value = Number(given);
  if (Number.isFinite(value) && value >= least && value <= most) return value;
  throw new Trouble('config', `${name} is ${JSON.stringify(given)}; it must be a number from ${least} to ${most}`);
}

/** One of the words, the first when left empty. @throws Trouble 'config' that names the setting and what would be right */
export function oneOf<T extends string>(name: string, given: string | undefined, words: readonly [T, ...T[]]): T {
  if (given === undefined || given === '') return words[0];
  const word = words.find((w) => w === given);
  if (word === undefined) {
    throw new Trouble('config', `${name} is ${JSON.stringify(given)}; it must be one of ${words.join(', ')}`);
  }
  return word;
}
