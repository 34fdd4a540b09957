/** How many findings were decided, of how many, as the node's status. */
import type { Node, NodeAPI } from 'node-red';
import type { Judgement } from '../../lib/records';
import type { StatusLight } from './status';

export class Tally {
  private decided = 0;
  private all = 0;

  constructor(
    private readonly RED: NodeAPI,
    private readonly node: Node,
    private readonly light: StatusLight,
  ) {
    light.show('grey', 'ring', RED._(`${node.type}.status.waiting`));
  }

  count(findings: readonly Judgement[]): void {
    if (findings.length === 0) return;
    for (const f of findings) {
      this.all++;
      if (f.verdict !== 'not-proven') this.decided++;
    }
    this.show(findings.at(-1)!.verdict === 'not-proven');
  }

  private show(lastIsOpen: boolean): void {
    this.light.show(lastIsOpen ? 'yellow' : 'green', 'dot', () => {
      const values = { decided: shortCount(this.decided), all: shortCount(this.all) };
      return this.RED._(`${this.node.type}.status.counts`, values);
    });
  }
}

/** At most four characters: 999, 9.9k, 99k, 9.9M. */
export function shortCount(n: number): string {
  if (n < 1000) return String(n);
  const [value, unit] = n < 1e6 ? [n / 1000, 'k'] : [n / 1e6, 'M'];
  return `${value < 10 ? (Math.floor(value * 10) / 10).toFixed(1) : Math.floor(value)}${unit}`;
}
