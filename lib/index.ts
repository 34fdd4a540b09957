/** The public surface of the library. */
export * from './align';
export * from './angle';
export * from './components';
export { canonicalJson, derivedId } from './derived-id';
export * from './frame';
export { formatInstant, parseInstant } from './instant';
export * from './network';
export * from './nominal';
export * from './nominal-systems';
export * from './phasor';
export * from './reading';
export * from './records';
export * from './sequence';
export * from './timing';
export * from './unbalance';
export { problemsOf } from './validate';
export * from './windings';
