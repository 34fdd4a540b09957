/** The search for a plan on a thread of its own: the solver blocks the thread it runs on. */
import { join } from 'node:path';
import { Worker } from 'node:worker_threads';
import type { LoadingDocument } from '../../lib/loading/model';
import type { CurvePoint, Progress } from '../../lib/loading/plan';
import type { PlanBasis } from '../../lib/loading/plan-record';
import type { ProblemOptions } from '../../lib/loading/problem';
import type { Plan } from '../../lib/records';
import { Trouble } from '../kit/trouble';

export interface PlanTask {
  readonly document: LoadingDocument;
  readonly options: ProblemOptions & { readonly timeS: number; readonly seed: number };
  readonly basis: PlanBasis;
  /** the curve up to so many moves instead of a plan */
  readonly curveTo?: number;
}

export type JobAnswer =
  | { readonly plan: Plan; readonly impossible: boolean; readonly without?: string }
  | { readonly curve: readonly CurvePoint[]; readonly without?: string };

export type JobNews =
  | { readonly progress: Progress }
  | { readonly answer: JobAnswer }
  | { readonly problem: string; readonly code: string };

export class PlanJob {
  private readonly worker: Worker;
  readonly answer: Promise<JobAnswer>;
  private give!: (news: JobNews) => void;

  constructor(task: PlanTask, progress: (p: Progress) => void) {
    this.worker = new Worker(join(__dirname, 'plan-worker.js'), { workerData: task });
    this.answer = new Promise((resolve, reject) => {
      this.give = (news) => {
        if ('progress' in news) return progress(news.progress);
        if ('answer' in news) resolve(news.answer);
        else reject(new Trouble(news.code, news.problem));
        void this.worker.terminate();
      };
    });
    this.worker.on('message', this.give);
    this.worker.on('error', (cause) =>
      this.give({ problem: `the search failed: ${cause.message}`, code: 'plan-failed' }),
    );
    this.worker.on('exit', () => this.give({ problem: 'the search ended without an answer', code: 'plan-failed' }));
  }

  cancel(): void {
    this.give({ problem: 'the search was cancelled; nothing was planned', code: 'plan-cancelled' });
  }
}
