/** The stream of a connection to a broker as the client library sees it: without the messages that are taken out on the way. */
import { Duplex } from 'node:stream';
import { type Published, PublishSplitter } from './publish-splitter';

export interface Tap {
  /** MQTT 5 */
  readonly hasProperties: boolean;
  /** false: no room for more until goOn() */
  readonly message: (message: Published) => boolean;
}

type Done = (error?: Error | null) => void;

export class TappedStream extends Duplex {
  private readonly splitter: PublishSplitter;
  private isHeldUp = false;
  /** came while there was no room */
  private readonly arrears: Buffer[] = [];

  constructor(
    private readonly inner: Duplex,
    tap: Tap,
  ) {
    super({ allowHalfOpen: false });
    this.splitter = new PublishSplitter(tap.hasProperties, {
      message: tap.message,
      other: (bytes) => {
        if (!this.push(bytes)) this.inner.pause();
      },
    });
    inner.on('data', (bytes: Buffer) => this.come(bytes));
    inner.on('end', () => this.push(null));
    inner.on('error', (error) => this.destroy(error));
    inner.on('close', () => this.destroy());
  }

  /** There is room again. */
  goOn(): void {
    if (!this.isHeldUp) return;
    this.isHeldUp = false;
    this.come(Buffer.concat(this.arrears.splice(0)));
    if (!this.isHeldUp) this.inner.resume();
  }

  override _read(): void {
    if (!this.isHeldUp) this.inner.resume();
  }

  override _write(bytes: Buffer, _encoding: BufferEncoding, done: Done): void {
    this.inner.write(bytes, done);
  }

  override _writev(chunks: readonly { readonly chunk: Buffer }[], done: Done): void {
    this.inner.write(Buffer.concat(chunks.map(({ chunk }) => chunk)), done);
  }

  override _final(done: Done): void {
    this.inner.end(() => done());
  }

  /** Closed when the connection is. */
  override _destroy(error: Error | null, done: Done): void {
    if (this.inner.closed) {
      done(error);
      return;
    }
    this.inner.once('close', () => done(error));
    this.inner.destroy();
  }

  private come(bytes: Buffer): void {
    if (this.isHeldUp) this.arrears.push(bytes);
    else if (!this.splitter.split(bytes)) {
      this.isHeldUp = true;
      this.inner.pause();
    }
  }
}
