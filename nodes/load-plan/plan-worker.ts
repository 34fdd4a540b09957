/** Runs on a thread of its own: one task in, progress and one answer out. */
import { parentPort, workerData } from 'node:worker_threads';
import { type CurvePoint, curveOfPlan, moveCurve } from '../../lib/loading/curve';
import type { Solver } from '../../lib/loading/milp';
import { makeLoading } from '../../lib/loading/model';
import { planMoves } from '../../lib/loading/plan';
import { planRecord } from '../../lib/loading/plan-record';
import { asError } from '../kit/trouble';
import { highsSolver } from './highs-solver';
import type { JobAnswer, JobNews, PlanWork } from './plan-job';

const tell = (news: JobNews) => parentPort!.postMessage(news);

async function run(task: PlanWork): Promise<JobAnswer> {
  const loading = makeLoading(task.document);
  const { solver, without } = await solverIfAny();
  const options = {
    ...task.options,
    nowMs: () => performance.now(),
    stopped: () => Atomics.load(task.stop, 0) === 1,
    progress: (progress: Parameters<NonNullable<Parameters<typeof planMoves>[1]['progress']>>[0]) => tell({ progress }),
    ...(solver ? { solver } : {}),
  };
  if (task.curveTo !== undefined) {
    const each = { ...options, timeS: task.options.timeS / (task.curveTo + 1) };
    const told = (curve: readonly CurvePoint[]) => tell({ found: { curve, ...without } });
    return { curve: await moveCurve(loading, task.curveTo, { ...each, told }), ...without };
  }
  const plan = await planMoves(loading, options);
  const found = { plan: planRecord(plan, task.basis), impossible: plan.impossible, ...without };
  if (!task.withCurve || options.stopped()) return found;
  tell({ found });
  const { progress: _, ...quiet } = options;
  const curve = await curveOfPlan(plan, quiet);
  return { ...found, plan: planRecord(plan, { ...task.basis, curve }) };
}

/** Without the solver a plan comes all the same, but with no bound. */
async function solverIfAny(): Promise<{ solver?: Solver; without?: { without: string } }> {
  try {
    return { solver: await highsSolver() };
  } catch (cause) {
    return { without: { without: asError(cause).message } };
  }
}

run(workerData as PlanWork).then(
  (answer) => tell({ answer }),
  (cause) => tell({ problem: asError(cause).message, code: 'plan-failed' }),
);
