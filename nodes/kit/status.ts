/** Node status, sent on change only and at most twice a second: other flows listen to it. */
import type { Node, NodeStatus } from 'node-red';

const SPACING_MS = 500;

export class StatusLight {
  private last = '';
  private pending: NodeStatus | undefined;
  private timer: NodeJS.Timeout | undefined;

  constructor(private readonly node: Pick<Node, 'status'>) {}

  /** dot: working; ring: waiting or not connected. red: error, yellow: degraded, blue: busy, grey: idle, green: good. */
  show(fill: 'red' | 'green' | 'yellow' | 'blue' | 'grey', shape: 'dot' | 'ring', text: string): void {
    this.pending = { fill, shape, text: text.length > 20 ? `${text.slice(0, 19)}…` : text };
    if (!this.timer) this.flush();
  }

  close(): void {
    clearTimeout(this.timer);
    this.timer = undefined;
    this.node.status({});
  }

  private flush(): void {
    this.timer = undefined;
    if (!this.pending) return;
    const text = JSON.stringify(this.pending);
    if (text !== this.last) {
      this.node.status(this.pending);
      this.last = text;
      this.timer = setTimeout(() => this.flush(), SPACING_MS);
      this.timer.unref();
    }
    this.pending = undefined;
  }
}
