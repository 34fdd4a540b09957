/** Synchrophasor streams of IEEE C37.118.2-2011; frames of the 2005 edition are read too. */
export * from './channels';
export { crcCcitt } from './crc';
export { dataFrameBytes } from './data';
export { decodeFrame, encodeFrame } from './decode';
export { frameTime, instantUs } from './head';
export { ConfigParts, encodeConfigParts, type PartTaken } from './parts';
export { refusedFrame } from './refusal';
export { type Cut, FrameSplitter } from './splitter';
export * from './status';
export { Thinning } from './thinning';
export * from './types';
