/** What the node knows: the loads, which phases readings prove, the plan that stands, the search under way. */
import { compareInstants } from '../../lib/instant';
import { readLoading } from '../../lib/loading/document';
import { followUp } from '../../lib/loading/follow-up';
import { isProof, withIdentifications } from '../../lib/loading/identified';
import { type Loading, type LoadingDocument, makeLoading } from '../../lib/loading/model';
import { phaseForNewLoad } from '../../lib/loading/new-load';
import type { Progress } from '../../lib/loading/search';
import { sectionLoading } from '../../lib/loading/section-loading';
import type { Identification, Plan } from '../../lib/records';
import { Trouble } from '../kit/trouble';
import { PlanJob } from './plan-job';
import { newLoadOf, type PlanSettings, type Request, searchSettings } from './request';

export class PlanDesk {
  private readonly known = new Map<string, Identification>();
  /** the plan of each feeder: loads that come with a message may be of several */
  private readonly standing = new Map<string, Plan>();
  private newest: string | undefined;
  private job: PlanJob | undefined;

  constructor(
    private readonly own: { readonly document: LoadingDocument | undefined; readonly settings: PlanSettings },
    private readonly news: { readonly progress: (p: Progress) => void; readonly trouble: (why: string) => void },
  ) {}

  /** Of the node's own feeder, or the one made last. */
  get plan(): Plan | undefined {
    return this.standing.get(this.own.document?.id ?? this.newest ?? '');
  }

  /** Takes up what was known before a restart; the plan anew when what came meanwhile says something on a move. */
  resume(plan: Plan | undefined, identifications: readonly Identification[]): Plan | undefined {
    if (plan) this.stand(plan);
    for (const i of identifications) this.note(i);
    return plan && this.followed(plan.feeder);
  }

  /** Takes the plan that another worker made or followed up; that plan anew when what is known here says more on a move. */
  adopt(plan: Plan): Plan | undefined {
    return this.stand(plan) ? this.followed(plan.feeder) : undefined;
  }

  /** A plan is replaced by one of later; of the same one what was said last stands. */
  private stand(plan: Plan): boolean {
    const before = this.standing.get(plan.feeder);
    if (before && compareInstants(before.at, plan.at) > 0) return false;
    this.set(plan);
    return before?.id !== plan.id;
  }

  private set(plan: Plan): void {
    this.standing.set(plan.feeder, plan);
    this.newest = plan.feeder;
  }

  /** Notes an identification; the plans anew of which it says something on a move. */
  identified(i: Identification): Plan[] {
    this.note(i);
    return [...this.standing.keys()].flatMap((feeder) => this.followed(feeder) ?? []);
  }

  private followed(feeder: string): Plan | undefined {
    const plan = this.standing.get(feeder);
    const next = plan && followUp(plan, this.known.values());
    if (!next || next.id === plan.id) return undefined;
    this.standing.set(feeder, next);
    return next;
  }

  private note(i: Identification): void {
    const known = this.known.get(i.terminal);
    const order = known ? compareInstants(known.at, i.at) : -1;
    if (isProof(i)) {
      if (order <= 0) this.known.set(i.terminal, i);
      // A later reading that proves nothing does not take back what was proven; the same readings judged again do.
    } else if (order === 0) this.known.delete(i.terminal);
  }

  async search(request: Request, nowMs: number) {
    if (this.job) throw new Trouble('plan-busy', 'a search is under way; wait for it, or send ask: cancel');
    const { withCurve, ...options } = searchSettings(this.own.settings, request);
    const { document, byReadings, from, leastProbability } = this.current(request);
    const basis = { at: new Date(nowMs).toISOString().replace('Z', '000Z'), from, byReadings, leastProbability };
    const curve =
      request.ask === 'curve' ? { curveTo: options.aim.kind === 'best' ? options.aim.moves : 10 } : { withCurve };
    this.job = new PlanJob({ document, options, basis, ...curve }, this.news.progress);
    try {
      const answer = await this.job.answer;
      if (answer.without) this.news.trouble(answer.without);
      if ('plan' in answer) this.set(answer.plan);
      return answer;
    } finally {
      this.job = undefined;
    }
  }

  /** The search under way comes back with what is best so far. */
  cancel(): void {
    this.job?.cancel();
  }

  abandon(): void {
    this.job?.abandon();
  }

  loadingRows = (request: Request) => sectionLoading(this.loading(request));

  phaseOptions = (request: Request) => phaseForNewLoad(this.loading(request), newLoadOf(request));

  private loading(request: Request): Loading {
    return makeLoading(this.current(request).document);
  }

  private current(request: Request) {
    const found = withIdentifications(this.documentOf(request), this.known.values());
    for (const p of found.problems) this.news.trouble(p);
    return found;
  }

  private documentOf({ document }: Request): LoadingDocument {
    if (document === undefined) {
      if (this.own.document) return this.own.document;
      throw new Trouble(
        'config',
        'no loads are given: write a document in the node, or send one in msg.payload.document',
      );
    }
    return documentFrom(document);
  }
}

/** @throws Trouble 'loads-invalid' with every problem */
export function documentFrom(given: unknown): LoadingDocument {
  const read = readLoading(given);
  if (read.ok) return read.loading.document;
  throw new Trouble('loads-invalid', `the loads cannot be used: ${read.problems.slice(0, 20).join('; ')}`);
}
