import { LRUCache } from 'lru-cache';

/** The last window of one channel. */
interface Last {
  readonly firstUs: number;
  readonly index: number;
  readonly rateHz: number;
}

/** A sample clock that wanders further than this from its pulse, parts per million, is one that jumps. */
const WANDER_PPM = 100;

/**
 * Whether the pulse jumped between two windows of a channel. Samples are counted by the sampler (`index` of the first one of
 * each window); the time that passed must fit the count within one sample and 100 ppm. Keeps one window a channel.
 */
export class SampleClock {
  private readonly channels: LRUCache<string, Last>;

  constructor(mostChannels = 10_000) {
    this.channels = new LRUCache({ max: mostChannels });
  }

  /** What does not fit, or undefined. The window counts as the one to hold the next against either way. */
  jump(channel: string, now: Last): string | undefined {
    const last = this.channels.get(channel);
    this.channels.set(channel, now);
    if (!last || last.rateHz !== now.rateHz || now.index < last.index) return undefined; // the sampler began anew
    const expectedUs = ((now.index - last.index) * 1e6) / now.rateHz;
    const offUs = now.firstUs - last.firstUs - expectedUs;
    if (Math.abs(offUs) <= 1e6 / now.rateHz + (expectedUs * WANDER_PPM) / 1e6) return undefined;
    return `${now.index - last.index} samples should take ${expectedUs} us, the pulse says ${offUs} us more`;
  }
}
