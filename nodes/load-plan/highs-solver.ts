/** HiGHS (npm `highs`, WebAssembly) as the solver of the load plan. It blocks the thread it runs on. */
import type { Solver, SolverAnswer } from '../../lib/loading/milp';
import { asError, Trouble } from '../kit/trouble';

type Highs = typeof import('highs');
type Instance = Awaited<ReturnType<Highs['default']>>;
type Model = ReturnType<Instance['createModel']>;

/** @throws Trouble 'package-missing' that says what to install */
export async function highsSolver(): Promise<Solver> {
  const highs = await loaded();
  return (lp, { timeS, start }) =>
    highs.withModel({ format: 'lp', data: lp }, (model) => {
      model.options.set({ output_flag: false, time_limit: Math.max(0.1, timeS), mip_rel_gap: 1e-6, mip_abs_gap: 1e-6 });
      if (start) begin(model, start);
      model.run();
      return answerOf(highs, model);
    });
}

async function loaded(): Promise<Instance> {
  try {
    const load = require('highs') as unknown as (options?: object) => Promise<Instance>;
    return await load();
  } catch (cause) {
    throw new Trouble(
      'package-missing',
      `the solver HiGHS does not start (${asError(cause).message}); install it beside this pack: npm install highs`,
    );
  }
}

function begin(model: Model, start: ReadonlyMap<string, number>): void {
  const indices: number[] = [];
  const values: number[] = [];
  const { numCols } = model.getDimensions();
  for (let col = 0; col < numCols; col++) {
    const value = start.get(model.getColName(col));
    if (value === undefined) continue;
    indices.push(col);
    values.push(value);
  }
  if (indices.length > 0) model.setSolution({ indices, values });
}

/** `primal_solution_status` of a solution that keeps every row. */
const FEASIBLE = 2;

function answerOf({ constants }: Instance, model: Model): SolverAnswer {
  const status = model.getModelStatus();
  if (status === constants.modelStatus.infeasible) return { status: 'infeasible' };
  const bound = Number(model.info.get('mip_dual_bound'));
  const proven = Number.isFinite(bound) && Math.abs(bound) < 1e20 ? { bound } : {};
  if (Number(model.info.get('primal_solution_status')) !== FEASIBLE) return { status: 'none', ...proven };
  const { colValue } = model.getSolution();
  const values = new Map(Array.from(colValue, (v, col) => [model.getColName(col), v] as const));
  return {
    status: status === constants.modelStatus.optimal ? 'optimal' : 'feasible',
    objective: model.getObjectiveValue(),
    ...proven,
    values,
  };
}
