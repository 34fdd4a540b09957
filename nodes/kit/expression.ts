/** A JSONata expression of a flow, within bounds: one that does not end holds up nothing else, and whoever asked for it is told. */
import type { Node, NodeAPI } from 'node-red';
import { Trouble } from './trouble';

/** JSONata calls these, where they are set, on entering and on leaving each part of an expression, and awaits what they return. */
const ENTRY = Symbol.for('jsonata.__evaluate_entry') as unknown as string;
const EXIT = Symbol.for('jsonata.__evaluate_exit') as unknown as string;

/** What JSONata says of an evaluation that is under way. */
interface Environment {
  readonly base?: { readonly depth?: number };
}

/** An expression over one message takes well under a millisecond; this leaves room for a function that asks elsewhere. */
export const MOST_S = 5;
/** Parts of an expression within each other: some 3000 calls of a function by itself, and about 20 MB. */
export const MOST_DEPTH = 10_000;
/** One evaluation after the other, this long at a time. */
const TURN_MS = 20;

export class Expression {
  private prepared;
  private readonly turn = new Turn();

  /** @throws Error when the expression cannot be compiled */
  constructor(
    private readonly RED: NodeAPI,
    private readonly node: Node,
    private readonly text: string,
  ) {
    this.prepared = this.prepare();
  }

  /**
   * What the expression makes of a message, with these variables at hand. One evaluation must be over before the next begins.
   * What a built-in function does at one go, such as a regular expression that goes back for ever, cannot be cut short.
   * @throws Trouble 'expression-endless' when it takes more than MOST_S or goes deeper than MOST_DEPTH; what the expression throws
   */
  evaluate(msg: object, variables: Readonly<Record<string, unknown>> = {}): Promise<unknown> {
    const { prepared } = this;
    for (const [name, value] of Object.entries(variables)) prepared.assign(name, value);
    return new Promise((resolve, reject) => {
      const bounds = new Bounds(this.turn, (why) => {
        // It may yet go on, and must not find the bounds of the next: this one ends at its next step.
        this.prepared = this.prepare();
        reject(why);
      });
      prepared.assign(ENTRY, (_part: unknown, _input: unknown, environment: Environment) => {
        const { depth } = environment.base ?? {};
        if (depth === undefined) prepared.assign(EXIT, () => bounds.left());
        return bounds.entered(depth);
      });
      this.RED.util.evaluateJSONataExpression(prepared, msg as never, (error, result) => {
        bounds.lift();
        if (error) reject(error);
        else resolve(result);
      });
    });
  }

  private prepare() {
    return this.RED.util.prepareJSONataExpression(this.text, this.node);
  }
}

/** All of JSONata's waiting is done within one turn of the event loop: without a pause nothing else would get its turn. */
class Turn {
  private beganMs = 0;

  get isLong(): boolean {
    return performance.now() - this.beganMs > TURN_MS;
  }

  async end(): Promise<void> {
    await new Promise(setImmediate);
    this.beganMs = performance.now();
  }
}

/** The time and depth of one evaluation. */
class Bounds {
  private depth = 0;
  private crossed: Trouble | undefined;
  private readonly timer = setTimeout(() => this.cross(`it has not ended after ${MOST_S} s`), MOST_S * 1000);

  constructor(
    private readonly turn: Turn,
    private readonly tell: (why: Trouble) => void,
  ) {}

  /** @param depth as JSONata counts it; a version that does not tell it has it counted here */
  entered(depth = this.depth + 1): Promise<void> | undefined {
    this.depth = depth;
    if (depth > MOST_DEPTH) this.cross(`it goes more than ${MOST_DEPTH} parts deep`);
    if (this.crossed) throw this.crossed;
    return this.turn.isLong ? this.pause() : undefined;
  }

  left(): void {
    this.depth--;
  }

  lift(): void {
    clearTimeout(this.timer);
  }

  private cross(why: string): void {
    if (this.crossed) return;
    this.crossed = new Trouble('expression-endless', why);
    this.lift();
    this.tell(this.crossed);
  }

  private async pause(): Promise<void> {
    await this.turn.end();
    if (this.crossed) throw this.crossed;
  }
}
