/** Samples that come in pieces, of many channels, to readings: each sample is read once, and what is held is bounded. */
import { LRUCache } from 'lru-cache';
import { parseInstant } from './instant';
import { SampleClock } from './sample-clock';
import { SampleStream } from './sample-stream';
import {
  channelOf,
  refusedSamples,
  takeSamples,
  type WaveDocument,
  type WaveRead,
  type WaveReader,
} from './wave-reading';

interface Channel {
  readonly stream: SampleStream;
  /** what a stream cannot change without beginning anew */
  readonly shape: string;
}

/** Reads pieces of streams: documents like those of `WaveReader` with `everyS`. */
export class WaveStreams {
  private readonly channels: LRUCache<string, Channel>;
  private readonly clock: SampleClock;

  /**
   * @param cycles that the reader's estimator needs
   * @param mostChannels the one that has been quiet for longest is forgotten first
   */
  constructor(
    private readonly reader: WaveReader,
    private readonly cycles: number,
    mostChannels = 1000,
  ) {
    this.channels = new LRUCache({ max: mostChannels });
    this.clock = new SampleClock(mostChannels);
  }

  /** Samples held of all channels. */
  get waiting(): number {
    let sum = 0;
    for (const { stream } of this.channels.values()) sum += stream.waiting;
    return sum;
  }

  /**
   * The readings that a piece completes, none as a rule. A piece whose time does not follow from the one before is refused, once, and
   * the stream goes on from it; where its samples are counted (`index`) the piece itself is not used.
   * @param bytes stand in for `samples` of the document
   */
  push(given: unknown, bytes?: Uint8Array): WaveRead[] {
    const taken = takeSamples(given, bytes);
    if (!taken.ok) return [taken];
    const { doc, samples } = taken;
    const firstUs = parseInstant(doc.firstAt);
    const { stream } = this.channelFor(doc);
    const { index, rateHz } = doc;
    const jump = index === undefined ? undefined : this.clock.jump(channelOf(doc), { firstUs, index, rateHz });
    if (jump) {
      stream.reset();
      return [refusedSamples('pulse-jump', jump)];
    }
    const { windows, jumped } = stream.push(samples, firstUs);
    const read = windows.map(({ secondUs, window }) => this.reader.judge(doc, window, secondUs));
    return jumped ? [refusedSamples('gapped', BROKEN), ...read] : read;
  }

  private channelFor(doc: WaveDocument): Channel {
    const name = channelOf(doc);
    const { rateHz, everyS = 1 } = doc;
    const nominalHz = doc.nominalHz ?? this.reader.nominalHz;
    const shape = `${rateHz} ${nominalHz} ${everyS} ${doc.scale} ${doc.antiAliased}`;
    const known = this.channels.get(name);
    const stream = () => new SampleStream({ rateHz, nominalHz, everyS, cycles: this.cycles });
    const channel = known?.shape === shape ? known : { stream: stream(), shape };
    this.channels.set(name, channel);
    return channel;
  }
}

const BROKEN = 'the piece does not follow the one before it; what was held of that is let go';
