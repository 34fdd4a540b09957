/** The node "load plan": identifications and requests in; plans, loading and the phase for a new load out. */
import { readFileSync } from 'node:fs';
import { resolve } from 'node:path';
import type { Node, NodeAPI, NodeDef } from 'node-red';
import type { LoadingDocument } from '../../lib/loading/model';
import { workListCsv } from '../../lib/loading/work-list-csv';
import type { Identification, Plan } from '../../lib/records';
import { configNode } from '../kit/config-nodes';
import { startOrRefuse } from '../kit/evidence';
import { keep, type LedgerHandle } from '../kit/kept-readings';
import type { FlowMessage } from '../kit/outgoing';
import type { StatusLight } from '../kit/status';
import { asError, Trouble } from '../kit/trouble';
import { documentFrom, PlanDesk } from './desk';
import { type PlanSettings, type Request, requestOf, searchSettings } from './request';
import { StandingPlan } from './standing-plan';
import { type PlanWindow, sectionsOf } from './window';

interface LoadPlanDef extends NodeDef, Required<PlanSettings> {
  ledger?: string;
  source: string;
  document: string;
  file: string;
}

interface Answered {
  /** as it leaves the node */
  readonly plan?: { readonly payload: Plan; readonly workList: string; readonly impossible: boolean };
  readonly answer?: unknown;
}

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-load-plan', function (this: Node, def: LoadPlanDef) {
    RED.nodes.createNode(this, def);
    startOrRefuse(RED, this, (light) => start(RED, this, def, light));
  });
};

function start(RED: NodeAPI, node: Node, def: LoadPlanDef, light: StatusLight): void {
  const ledger = configNode<LedgerHandle>(RED, def.ledger);
  if (def.ledger && !ledger) throw new Trouble('config', 'the chosen ledger does not exist');
  searchSettings(def);
  const document = documentOf(RED, def);
  const say = (key: string, values: Record<string, number> = {}) => RED._(`phaseloom-load-plan.status.${key}`, values);
  const desk = new PlanDesk(
    { document, settings: def },
    {
      progress: (p) => light.show('blue', 'dot', () => say('searching', { moves: p.moves })),
      trouble: (why) => node.warn(why),
    },
  );
  const show = (plan: Plan | undefined) => {
    if (!plan) return light.show('grey', 'ring', say('waiting'));
    const done = plan.moves.filter((m) => m.state === 'confirmed').length;
    light.show(plan.keepsLimit ? 'green' : 'yellow', 'dot', say('moves', { done, all: plan.moves.length }));
  };
  show(undefined);
  const standing = new StandingPlan({
    id: node.id,
    ledger,
    document,
    desk,
    takenUp: show,
    followed: async (plan) => node.send([await planned(plan), null] as never),
    failed: (cause) => node.error(asError(cause)),
  });

  async function planned(plan: Plan): Promise<{ payload: Plan; workList: string }> {
    if (ledger) await keep(ledger, [plan]);
    show(desk.plan ?? plan);
    return { payload: plan, workList: workListCsv(plan) };
  }

  async function asked(request: Request): Promise<Answered> {
    await standing.ready;
    if (request.ask === 'cancel') {
      desk.cancel();
      return {};
    }
    if (request.ask === 'loading') return { answer: desk.loadingRows(request) };
    if (request.ask === 'phase') return { answer: desk.phaseOptions(request) };
    light.show('blue', 'dot', say('searching', { moves: 0 }));
    const answer = await desk.search(request, Date.now()).finally(() => show(desk.plan));
    if ('curve' in answer) return { answer: answer.curve };
    return { plan: { ...(await planned(answer.plan)), impossible: answer.impossible } };
  }

  (node as Node & { planWindow: PlanWindow }).planWindow = {
    feeder: document?.id,
    sections: sectionsOf(document),
    phases: document?.phases ?? ['A', 'B', 'C'],
    async ask(given) {
      const { plan, answer } = await asked(requestOf(given));
      // The flow hears of a plan that was asked for here as of any other.
      if (plan) node.send([{ ...plan }, null] as never);
      return plan?.payload ?? answer ?? null;
    },
  };

  async function take(msg: FlowMessage, send: (out: unknown[]) => void): Promise<void> {
    await standing.ready;
    const items = Array.isArray(msg.payload) ? msg.payload : [msg.payload];
    if (items.length > 0 && items.every(isIdentification)) {
      for (const plan of standing.identified(items)) send([{ ...msg, ...(await planned(plan)) }, null]);
      return;
    }
    const { plan, answer } = await asked(requestOf(msg.payload));
    if (plan) send([{ ...msg, ...plan }, null]);
    else if (answer) send([null, { ...msg, payload: answer }]);
  }

  node.on('input', (msg, send, done) => {
    take(msg as FlowMessage, send as never).then(
      () => done(),
      (cause) => done(asError(cause)),
    );
  });
  node.on('close', () => {
    desk.abandon();
    standing.close();
    light.close();
  });
}

const isIdentification = (x: unknown): x is Identification =>
  (x as { kind?: unknown } | null | undefined)?.kind === 'identification';

function documentOf(RED: NodeAPI, def: LoadPlanDef): LoadingDocument | undefined {
  if (def.source === 'message') return undefined;
  if (def.source !== 'file') return documentFrom(def.document ?? '');
  const path = resolve(RED.settings.userDir ?? process.cwd(), (def.file ?? '').trim());
  try {
    return documentFrom(readFileSync(path, 'utf8'));
  } catch (cause) {
    if (cause instanceof Trouble) throw cause;
    throw new Trouble('config', `the file ${path} cannot be read: ${asError(cause).message}`);
  }
}
