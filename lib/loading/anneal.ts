/** Annealing from cold: one to three changes at a time, with a leaning to take moves back. Seeded. */
import { isOver, type Watch } from './greedy';
import type { PlanState } from './state';

export interface AnnealOptions {
  readonly seed: number;
  /** how many trials: the temperature falls with them, so that the same seed walks the same way on every machine; time only breaks off */
  readonly trials: number;
  readonly startTemperature: number;
  /** the temperature falls to this part of the start */
  readonly coolTo?: number;
}

/** Every so many trials the clock is read. */
const ROUND = 256;
const BACK = 0.6;

/** The best state met, as places of the units; `state` itself is left where the walk ended. */
export function anneal(state: PlanState, watch: Watch, options: AnnealOptions): Int32Array {
  const { seed, trials, startTemperature, coolTo = 0.01 } = options;
  const random = randomOf(seed);
  const walk = new Walk(state, random);
  let best = Int32Array.from(state.at);
  let bestScore = state.score();
  let score = bestScore;
  const rounds = Math.ceil(trials / ROUND);
  for (let round = 0; round < rounds && !isOver(watch); round++) {
    const temperature = startTemperature * coolTo ** (round / rounds);
    for (let i = 0; i < ROUND; i++) {
      walk.change();
      const tried = state.score();
      if (state.moves <= state.problem.mostMoves && accepts(tried - score, temperature, random)) {
        score = tried;
        if (score < bestScore) {
          bestScore = score;
          best = Int32Array.from(state.at);
        }
      } else walk.undo();
    }
    if (round % 64 === 63) state.refresh();
  }
  return best;
}

const accepts = (worse: number, temperature: number, random: () => number): boolean =>
  worse <= 0 || random() < Math.exp(-worse / temperature);

/** Changes and how to undo them; keeps a list of the units that are moved. */
class Walk {
  private readonly moved: number[] = [];
  private readonly place: Int32Array;
  private readonly trail: (readonly [unit: number, was: number])[] = [];
  private readonly free: readonly number[];

  constructor(
    private readonly state: PlanState,
    private readonly random: () => number,
  ) {
    const { units } = state.problem;
    this.place = new Int32Array(units.length).fill(-1);
    this.free = units.flatMap((u, i) => (u.states.length > 1 ? [i] : []));
    for (const u of this.free) if (state.at[u] !== 0) this.note(u);
  }

  change(): void {
    this.trail.length = 0;
    if (this.free.length === 0) return;
    const steps = 1 + Math.floor(3 * this.random());
    for (let k = 0; k < steps; k++) {
      if (this.moved.length > 0 && this.random() < BACK / steps) this.set(this.pick(this.moved), 0);
      else {
        const u = this.pick(this.free);
        const others = this.state.problem.units[u]!.states.length - 1;
        const to = Math.floor(others * this.random());
        this.set(u, to >= this.state.at[u]! ? to + 1 : to);
      }
    }
  }

  undo(): void {
    for (let k = this.trail.length - 1; k >= 0; k--) {
      const [u, was] = this.trail[k]!;
      this.state.move(u, was);
      this.note(u);
    }
  }

  private pick(list: readonly number[]): number {
    return list[Math.floor(list.length * this.random())]!;
  }

  private set(u: number, to: number): void {
    this.trail.push([u, this.state.at[u]!]);
    this.state.move(u, to);
    this.note(u);
  }

  private note(u: number): void {
    const isIn = this.place[u]! >= 0;
    if (isIn === (this.state.at[u] !== 0)) return;
    if (!isIn) {
      this.place[u] = this.moved.push(u) - 1;
      return;
    }
    const last = this.moved.pop()!;
    if (last !== u) {
      this.moved[this.place[u]!] = last;
      this.place[last] = this.place[u]!;
    }
    this.place[u] = -1;
  }
}

/** Uniform on [0, 1): a Weyl sequence through a 32-bit mixer. */
function randomOf(seed: number): () => number {
  let a = seed >>> 0;
  return () => {
    a = (a + 0x9e3779b9) >>> 0;
    let x = Math.imul(a ^ (a >>> 16), 0x21f0aaad);
    x = Math.imul(x ^ (x >>> 15), 0x735a2d97);
    return ((x ^ (x >>> 15)) >>> 0) / 2 ** 32;
  };
}
