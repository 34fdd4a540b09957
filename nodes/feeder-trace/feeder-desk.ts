/** The feeders of a node: which findings concern which, and a trace of each some time after something about it changed. */
import { CaseFile } from '../../lib/feeder/case-file';
import type { Decision } from '../../lib/feeder/decide';
import type { CimPlaces } from '../../lib/feeder/io/cim';
import type { Feeder } from '../../lib/feeder/model';
import type { FeederTrace } from '../../lib/feeder/trace';
import type { Frame } from '../../lib/frame';
import { stampOf } from '../../lib/frame';
import type { Network } from '../../lib/network';
import type { Correction, Finding, Identification, PhaseloomRecord, Trace } from '../../lib/records';
import { Holder } from '../kit/holder';
import { keep, type LedgerHandle, patiently } from '../kit/kept-readings';
import type { Sharing } from '../kit/sharing';
import { Trouble } from '../kit/trouble';
import { type Download, type DownloadRequest, download } from './download';
import { metersOf } from './meters';

export interface DeskSettings {
  /** the node: one name for all workers of a flow */
  readonly id: string;
  readonly feeders: Iterable<Feeder>;
  /** where the CIM file of the one feeder keeps its phases */
  readonly places: CimPlaces | undefined;
  readonly frame: Frame;
  readonly network: Network | undefined;
  readonly ledger: LedgerHandle | undefined;
  /** how long changes are gathered before a feeder is traced */
  readonly gatherMs: number;
  readonly traced: (trace: Trace) => void;
  readonly failed: (cause: unknown) => void;
}

interface Drawer {
  readonly file: CaseFile;
  run: FeederTrace | undefined;
  said: string | undefined;
  timer: NodeJS.Timeout | undefined;
}

const PAGE = 5000;

const isEvidence = (record: PhaseloomRecord): record is Finding =>
  ['identification', 'rotation', 'comparison'].includes(record.kind);

/** The same labels in the same order of crest, whichever is named first. */
const isTurned = (phases: readonly string[], others: readonly string[]): boolean =>
  others.some((_, first) => phases.every((p, k) => p === others[(first + k) % 3]));

/** As the identification itself had it: the terminal's own path, else the one of its reference. */
const pathFrom =
  ({ frame, network }: DeskSettings) =>
  ({ terminal, reference }: Identification) =>
    network?.terminals.get(terminal)?.path ?? frame.references.find((r) => r.id === reference)?.path;

export class FeederDesk {
  private readonly drawers = new Map<string, Drawer>();
  private readonly recalled: Promise<void>;
  private deaf: (() => void) | undefined;
  private holder: Holder | undefined;
  private closed = false;

  constructor(private readonly settings: DeskSettings) {
    const { frame } = settings;
    for (const feeder of settings.feeders) {
      const zeroPhase = feeder.phases.indexOf(frame.zeroPhase);
      // Another order of crest would take every C for a B.
      if (!isTurned(feeder.phases, frame.phases)) {
        throw new Trouble(
          'config',
          `feeder ${feeder.id} has the phases ${feeder.phases.join(', ')}; expected the frame's ${frame.phases.join(', ')}`,
        );
      }
      const file = new CaseFile(feeder, {
        zeroPhase,
        grossErrorRate: frame.grossErrorRate,
        frame: stampOf(frame),
        pathOf: pathFrom(settings),
      });
      this.drawers.set(feeder.id, { file, run: undefined, said: undefined, timer: undefined });
    }
    this.recalled = this.recall().catch((cause) => settings.failed(cause));
  }

  take(finding: Finding): void {
    for (const drawer of this.drawers.values()) if (drawer.file.take(finding)) this.later(drawer);
  }

  /** All of them about what stands now. @throws Trouble when one of these corrections is not offered; then none is decided */
  async decide(feeder: string | undefined, decisions: readonly Decision[], at: string): Promise<Correction[]> {
    const { file, run } = await this.opened(feeder);
    const made = decisions.map((d) => file.decide(run, d, at));
    const corrections = made.map((m) => {
      if (typeof m === 'string') throw new Trouble('correction-unknown', m);
      return m;
    });
    if (this.settings.ledger) await keep(this.settings.ledger, corrections);
    for (const c of corrections) this.take(c);
    return corrections;
  }

  /** A feeder as it stands now. @throws Trouble 'feeder-unknown' */
  async opened(feeder: string | undefined): Promise<{ readonly file: CaseFile; readonly run: FeederTrace }> {
    await this.recalled;
    const drawer = this.drawerOf(feeder);
    drawer.run ??= drawer.file.run();
    return { file: drawer.file, run: drawer.run };
  }

  /** @throws Trouble while nothing is known of the feeder, or when its file cannot say it so */
  async download(feeder: string | undefined, request: DownloadRequest): Promise<Download> {
    const { file, run } = await this.opened(feeder);
    const record = file.record(run);
    if (record) return download(run, record, this.settings.places, request);
    throw new Trouble(
      'no-evidence',
      `nothing is known of feeder ${file.feeder.id} yet; expected a finding about it first`,
    );
  }

  /** @throws Trouble that says what is wrong with the series, or which meters say nothing; the others count */
  async takeMeters(feeder: string | undefined, payload: Readonly<Record<string, unknown>>): Promise<void> {
    const drawer = this.drawerOf(feeder);
    const batch = await metersOf(drawer.file.feeder, payload, this.settings.ledger);
    const { evidence, passedOver } = drawer.file.takeMeters(batch);
    this.later(drawer);
    if (passedOver.length === 0) return;
    const told = passedOver.slice(0, 5).map((p) => `${p.terminal}: ${p.why}`);
    const all = evidence.length + passedOver.length;
    throw new Trouble('batch-in-part', `${passedOver.length} of ${all} meters say nothing: ${told.join('; ')}`);
  }

  close(): void {
    this.closed = true;
    this.deaf?.();
    void this.holder?.close();
    for (const { timer } of this.drawers.values()) clearTimeout(timer);
  }

  private drawerOf(feeder: string | undefined): Drawer {
    const drawer = feeder === undefined && this.drawers.size === 1 ? [...this.drawers.values()][0] : undefined;
    const named = drawer ?? this.drawers.get(feeder ?? '');
    if (named) return named;
    throw new Trouble(
      'feeder-unknown',
      `msg.payload.feeder is ${JSON.stringify(feeder) ?? 'missing'}; it must be one of ${[...this.drawers.keys()].join(', ')}`,
    );
  }

  /** Findings from before this start. */
  private async recall(): Promise<void> {
    const { ledger } = this.settings;
    if (!ledger) return;
    const { onCommit, sharing } = await this.opening(ledger);
    // A decision may be made elsewhere, on the board: it is heard of when it is committed. So are the findings of other workers.
    this.deaf = onCommit((records) => {
      for (const record of records)
        if (record.kind === 'correction' || (sharing && isEvidence(record))) this.take(record);
    });
    if (sharing) await this.share(sharing);
    if (this.closed) this.close();
    let after: string | undefined;
    do {
      const page = await patiently(ledger, (kept) =>
        kept.records({
          kinds: ['identification', 'rotation', 'comparison', 'correction'],
          currentOnly: true,
          limit: PAGE,
          ...(after === undefined ? {} : { after }),
        }),
      );
      for (const record of page.records) this.take(record as Finding);
      after = page.next;
    } while (after !== undefined && !this.closed);
  }

  private async opening(ledger: LedgerHandle) {
    const kept = await patiently(ledger, async (opened) => opened);
    return { onCommit: kept.onCommit.bind(kept), sharing: kept.sharing };
  }

  /** One worker traces a feeder; who takes it over traces what stands in the ledger. */
  private async share(sharing: Sharing): Promise<void> {
    const { id } = this.settings;
    this.holder = new Holder(sharing, `trace:${id}`, id, [...this.drawers.keys()], {
      gained: (feeders) => {
        for (const feeder of feeders) this.later(this.drawers.get(feeder)!);
      },
      lost: () => undefined,
      mayLeave: () => true,
    });
    await this.holder.start();
  }

  /** The first change starts the clock; a steady stream must not put the trace off for ever. */
  private later(drawer: Drawer): void {
    drawer.run = undefined;
    if (this.closed) return;
    drawer.timer ??= setTimeout(() => {
      this.recalled.then(() => this.trace(drawer)).catch((cause) => this.settings.failed(cause));
    }, this.settings.gatherMs);
  }

  private async trace(drawer: Drawer): Promise<void> {
    drawer.timer = undefined;
    if (this.closed || (this.holder && !this.holder.holds(drawer.file.feeder.id))) return;
    drawer.run = drawer.file.run();
    const record = drawer.file.record(drawer.run);
    if (!record || record.id === drawer.said) return;
    if (this.settings.ledger) await keep(this.settings.ledger, [record]);
    drawer.said = record.id;
    if (!this.closed) this.settings.traced(record);
  }
}
