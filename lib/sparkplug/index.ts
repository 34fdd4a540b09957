/** Sparkplug B: what a receiver remembers of edge nodes and devices, and readings of their metrics. */
export * from './host';
export * from './readings';
export * from './topic';
