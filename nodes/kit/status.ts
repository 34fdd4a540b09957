/** Node status, sent on change only and at most twice a second: other flows listen to it. */
import type { Node, NodeStatus } from 'node-red';

const SPACING_MS = 500;

type Fill = 'red' | 'green' | 'yellow' | 'blue' | 'grey';

interface Pending {
  readonly fill: Fill;
  readonly shape: 'dot' | 'ring';
  readonly text: string | (() => string);
}

export class StatusLight {
  private last = '';
  private pending: Pending | undefined;
  private timer: NodeJS.Timeout | undefined;

  constructor(private readonly node: Pick<Node, 'status'>) {}

  /**
   * dot: working; ring: waiting or not connected. red: error, yellow: degraded, blue: busy, grey: idle, green: good.
   * @param text a function is called only when the status is really sent
   */
  show(fill: Fill, shape: 'dot' | 'ring', text: string | (() => string)): void {
    this.pending = { fill, shape, text };
    if (!this.timer) this.flush();
  }

  close(): void {
    clearTimeout(this.timer);
    this.timer = undefined;
    this.pending = undefined;
    this.node.status({});
  }

  private flush(): void {
    this.timer = undefined;
    if (!this.pending) return;
    const status = statusOf(this.pending);
    this.pending = undefined;
    const text = JSON.stringify(status);
    if (text !== this.last) this.node.status(status);
    this.last = text;
    // Also when nothing changed: making the text costs more than most of what it tells of.
    this.timer = setTimeout(() => this.flush(), SPACING_MS);
    this.timer.unref();
  }
}

function statusOf({ fill, shape, text }: Pending): NodeStatus {
  const told = typeof text === 'string' ? text : text();
  return { fill, shape, text: told.length > 20 ? `${told.slice(0, 19)}…` : told };
}
