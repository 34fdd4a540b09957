/** Load plans: what stands, its work list, and what a load plan node is asked. */
import { workListCsv } from '../../lib/loading/work-list-csv';
import type { Plan } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import type { PlanWindow } from '../load-plan/window';
import type { Board } from './board';
import { neighbours } from './neighbours';
import { type Answer, type Asked, parameter, type Route } from './route';

export const planRoutes: readonly Route[] = [
  { method: 'GET', path: 'api/plans', answer: plans },
  { method: 'GET', path: 'api/plan/work-list', answer: workList },
  { method: 'POST', path: 'api/plan/ask', answer: ask },
];

const MOST_PLANS = 1000;

const windows = (board: Board): readonly PlanWindow[] =>
  neighbours<{ planWindow: PlanWindow }>(board, 'phaseloom-load-plan', 'planWindow').map((n) => n.planWindow);

/** The newest plan of each feeder, and the feeders for which a node can be asked. */
async function plans({ board }: Asked) {
  const { records } = await (await board.ledger()).records({ kinds: ['plan'], currentOnly: true, limit: MOST_PLANS });
  const planners = windows(board).flatMap(({ feeder, sections, phases }) =>
    feeder === undefined ? [] : [{ feeder, sections, phases }],
  );
  return { body: { plans: records as readonly Plan[], planners } };
}

async function workList({ board, query }: Asked): Promise<Answer> {
  const id = parameter(query, 'id');
  const { records } = await (await board.ledger()).records({ ids: [id], kinds: ['plan'], limit: 1 });
  const plan = records[0] as Plan | undefined;
  if (!plan) throw new Trouble('not-found', `the ledger holds no plan ${id}`);
  const name = `work-list-${plan.feeder}`.replace(/[^\w.-]+/g, '-');
  return {
    headers: {
      'content-type': 'text/csv; charset=utf-8',
      'content-disposition': `attachment; filename="${name}.csv"`,
    },
    body: workListCsv(plan),
  };
}

async function ask({ board, body }: Asked) {
  const { feeder, ...request } = (body ?? {}) as Readonly<Record<string, unknown>>;
  const window = windows(board).find((w) => w.feeder === feeder);
  if (!window) {
    throw new Trouble(
      'config',
      `no node "load plan" on the ledger of this board holds the loads of ${JSON.stringify(feeder) ?? 'no feeder'}: put one into a flow`,
    );
  }
  // Loads come from the node: a document from outside would be worked on for minutes.
  if ('document' in request) throw new Trouble('body-unusable', 'the board takes no document; the node has its own');
  return { body: { answer: await window.ask(request) } };
}
