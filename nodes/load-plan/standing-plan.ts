/**
 * The plan of a feeder as it stands in the ledger: taken up at the start, and followed up as readings prove its moves. Where several
 * workers are on one ledger each hears what the others find and plan, and one of them follows the plan up.
 */
import type { LoadingDocument } from '../../lib/loading/model';
import type { Identification, PhaseloomRecord, Plan } from '../../lib/records';
import { Holder } from '../kit/holder';
import { type LedgerHandle, patiently } from '../kit/kept-readings';
import type { Sharing } from '../kit/sharing';
import type { PlanDesk } from './desk';
import { recall, terminalsOf } from './recall';

export interface StandingSettings {
  /** the node: one name for all workers of a flow */
  readonly id: string;
  readonly ledger: LedgerHandle | undefined;
  readonly document: LoadingDocument | undefined;
  readonly desk: PlanDesk;
  /** the plan was taken up; nothing on it is new */
  readonly takenUp: (plan: Plan) => void;
  /** readings say something new on a move */
  readonly followed: (plan: Plan) => Promise<unknown>;
  readonly failed: (cause: unknown) => void;
}

export class StandingPlan {
  readonly ready: Promise<void>;
  private holder: Holder | undefined;
  private deaf: (() => void) | undefined;
  private closed = false;

  constructor(private readonly settings: StandingSettings) {
    this.ready = this.open().catch(settings.failed);
  }

  /** Notes what was found; each plan anew that it says something on a move of, when this worker is the one to say so. */
  identified(found: readonly Identification[]): Plan[] {
    const anew = new Map(found.flatMap((i) => this.settings.desk.identified(i)).map((plan) => [plan.feeder, plan]));
    return this.mayFollow() ? [...anew.values()] : [];
  }

  close(): void {
    this.closed = true;
    this.deaf?.();
    void this.holder?.close();
  }

  private mayFollow(): boolean {
    const { document } = this.settings;
    return !this.holder || (document !== undefined && this.holder.holds(document.id));
  }

  private async open(): Promise<void> {
    const { ledger, document } = this.settings;
    if (!ledger || !document) return;
    const { onCommit, sharing } = await patiently(ledger, async (kept) => ({
      onCommit: kept.onCommit.bind(kept),
      sharing: kept.sharing,
    }));
    if (sharing) {
      const terminals = terminalsOf(document);
      this.deaf = onCommit((records) => this.hear(records, document.id, terminals));
      await this.share(sharing, document.id);
    }
    await this.takeUp();
    if (this.closed) this.close();
  }

  /** Who takes the plan over follows up what its holder before may have missed. */
  private async share(sharing: Sharing, feeder: string): Promise<void> {
    const { id, failed } = this.settings;
    this.holder = new Holder(sharing, `plan:${id}`, id, [feeder], {
      gained: () => void this.takeUp().catch(failed),
      lost: () => undefined,
      mayLeave: () => true,
    });
    await this.holder.start();
  }

  private async takeUp(): Promise<void> {
    const { ledger, document, desk, takenUp } = this.settings;
    const { plan, identifications } = await recall(ledger, document);
    if (this.closed) return;
    const anew = desk.resume(plan, identifications);
    if (desk.plan) takenUp(desk.plan);
    if (anew) this.follow(anew);
  }

  private hear(records: readonly PhaseloomRecord[], feeder: string, terminals: ReadonlySet<string>): void {
    const plans = records.filter((r): r is Plan => r.kind === 'plan' && r.feeder === feeder);
    const adopted = plans.map((plan) => this.settings.desk.adopt(plan)).filter((plan) => plan !== undefined);
    const found = records.filter((r): r is Identification => r.kind === 'identification' && terminals.has(r.terminal));
    const anew = this.identified(found).at(-1) ?? adopted.at(-1);
    if (anew) this.follow(anew);
  }

  private follow(plan: Plan): void {
    if (this.mayFollow()) this.settings.followed(plan).catch(this.settings.failed);
  }
}
