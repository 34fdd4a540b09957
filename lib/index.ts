/** The public surface of the library. */
export * from './angle';
export { canonicalJson, derivedId } from './derived-id';
export * from './frame';
export { formatInstant, parseInstant } from './instant';
export * from './network';
export * from './phasor';
export * from './reading';
export * from './records';
export { problemsOf } from './validate';
