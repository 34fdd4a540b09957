/** The search for a plan on a thread of its own: the solver blocks the thread it runs on. */
import { join } from 'node:path';
import { Worker } from 'node:worker_threads';
import type { CurvePoint } from '../../lib/loading/curve';
import { type LoadingDocument, makeLoading } from '../../lib/loading/model';
import { planAt } from '../../lib/loading/plan';
import { type PlanBasis, planRecord } from '../../lib/loading/plan-record';
import type { ProblemOptions } from '../../lib/loading/problem';
import type { Progress } from '../../lib/loading/search';
import type { Plan } from '../../lib/records';
import { Trouble } from '../kit/trouble';

export interface PlanTask {
  readonly document: LoadingDocument;
  readonly options: ProblemOptions & { readonly timeS: number; readonly seed: number };
  readonly basis: PlanBasis;
  /** a plan comes with its curve, which takes as long again at most */
  readonly withCurve?: boolean;
  /** the curve up to so many moves instead of a plan */
  readonly curveTo?: number;
}

export type JobAnswer =
  | { readonly plan: Plan; readonly impossible: boolean; readonly without?: string }
  | { readonly curve: readonly CurvePoint[]; readonly without?: string };

export type JobNews =
  | { readonly progress: Progress }
  /** a plan before its curve is drawn, and a curve point by point: breaking off loses nothing of it */
  | { readonly found: JobAnswer }
  | { readonly answer: JobAnswer }
  | { readonly problem: string; readonly code: string };

/** What the thread is given: one number that turns from 0 to 1 when it is to come to an end. */
export type PlanWork = PlanTask & { readonly stop: Int32Array };

/** A solver cannot be interrupted: after so long its thread is ended, and the best so far taken. */
const PATIENCE_MS = 500;

export class PlanJob {
  private readonly worker: Worker;
  readonly answer: Promise<JobAnswer>;
  private give!: (news: JobNews) => void;
  private readonly stop = new Int32Array(new SharedArrayBuffer(4));
  private best: Int32Array | undefined;
  private found: JobAnswer | undefined;
  private patience: NodeJS.Timeout | undefined;

  constructor(
    private readonly task: PlanTask,
    progress: (p: Progress) => void,
  ) {
    const work: PlanWork = { ...task, stop: this.stop };
    this.worker = new Worker(join(__dirname, 'plan-worker.js'), { workerData: work });
    this.answer = new Promise((resolve, reject) => {
      this.give = (news) => {
        if ('progress' in news) {
          this.best = news.progress.at;
          return progress(news.progress);
        }
        if ('found' in news) {
          this.found = news.found;
          return;
        }
        if ('answer' in news) resolve(news.answer);
        else reject(new Trouble(news.code, news.problem));
        clearTimeout(this.patience);
        void this.worker.terminate();
      };
    });
    this.worker.on('message', this.give);
    this.worker.on('error', (cause) =>
      this.give({ problem: `the search failed: ${cause.message}`, code: 'plan-failed' }),
    );
    this.worker.on('exit', () => this.give({ problem: 'the search ended without an answer', code: 'plan-failed' }));
  }

  /** Ends the search; what is best so far comes as the answer. */
  cancel(): void {
    Atomics.store(this.stop, 0, 1);
    this.patience ??= setTimeout(() => this.give(this.bestSoFar()), PATIENCE_MS);
  }

  /** Ends the search without an answer. */
  abandon(): void {
    this.give({ problem: 'the search was cancelled; nothing was planned', code: 'plan-cancelled' });
  }

  private bestSoFar(): JobNews {
    if (this.found) return { answer: this.found };
    const { document, options, basis, curveTo } = this.task;
    if (!this.best || curveTo !== undefined) {
      return { problem: 'the search was cancelled before it found anything', code: 'plan-cancelled' };
    }
    const plan = planAt(makeLoading(document), options, this.best);
    return { answer: { plan: planRecord(plan, basis), impossible: false } };
  }
}
