/**
 * From readings to findings. A finding rests on what was known of a group of terminals at the instant of a reading; a reading that
 * comes late makes the sets of later readings anew. So the same readings lead to the same findings in whatever order they come.
 */
import type { Align } from '../../lib/align-set';
import type { Frame } from '../../lib/frame';
import { takenAtUs } from '../../lib/reading';
import { instantsTouched, isTold, type ReadingSet, reachUs, type SetRule, setAt } from '../../lib/reading-sets';
import type { ReadingWindow } from '../../lib/reading-window';
import type { Judgement as Finding, Reading } from '../../lib/records';
import type { LedgerHandle } from './kept-readings';
import { joinKin } from './kin';
import { Lanes } from './lanes';
import { LastSaid } from './last-said';
import { RecentReadings } from './recent-readings';
import { ReferenceStreams } from './reference-streams';

/** Terminals that are judged together. */
export interface Group extends SetRule {
  readonly id: string;
}

/** What one kind of finding makes of readings. */
export interface Rules<G extends Group> {
  groupsOf(terminal: string): readonly G[];
  /** The readings a finding of this set would rest on; empty when there would be none. */
  restsOn(group: G, set: ReadingSet, reading: Reading, window: ReadingWindow): readonly Reading[];
  conclude(group: G, set: ReadingSet, reading: Reading, window: ReadingWindow, align: Align): readonly Finding[];
  /** a reading that comes again leads to its findings again */
  readonly saysAgain: boolean;
}

export interface Sources {
  readonly frame: Frame;
  readonly ledger: LedgerHandle | undefined;
  /** how long to wait for a reference reading taken after a field reading, milliseconds */
  readonly waitMs: number;
  /** findings that a reference reading made possible which came too late to be waited for */
  readonly late: (reading: Reading, findings: Findings) => void;
}

type Findings = readonly Finding[];

const NONE: Findings = Object.freeze([]);
/** Which later sets a reading makes anew: none, those of readings that came, or all that are known. */
type Touched = 'own' | 'came' | 'all';

interface Case<G> {
  readonly group: G;
  readonly set: ReadingSet;
  readonly readings: readonly Reading[];
}

interface Span {
  readonly terminals: readonly string[];
  readonly reach: number;
}

export class FindingFlow<G extends Group> {
  private readonly streams: ReferenceStreams;
  private readonly recent: RecentReadings;
  private readonly lanes = new Lanes();
  private readonly said = new LastSaid();
  private readonly underway = new Set<Promise<unknown>>();
  private readonly spans = new WeakMap<readonly G[], Span>();
  private readonly leaveKin: () => void;

  constructor(
    sources: Sources,
    private readonly rules: Rules<G>,
  ) {
    this.streams = new ReferenceStreams(sources.frame, sources.ledger, sources.waitMs);
    this.recent = new RecentReadings(sources.ledger);
    this.streams.onServed = (reading) => void this.servedLate(reading, sources.late);
    this.leaveKin = joinKin({
      kinOf: (terminal) => rules.groupsOf(terminal).flatMap((g) => [...g.terminals, ...(g.beside ?? [])]),
      heardByAll: this.streams.terminals,
      forget: () => this.recent.forget(),
    });
  }

  /** The findings a reading leads to; at once when everything needed is in memory. */
  take(reading: Reading, seq: number | undefined): Findings | Promise<Findings> {
    if (this.streams.isStream(reading.terminal)) {
      this.streams.hear(reading);
      return NONE;
    }
    const settling = this.streams.settle(reading);
    if (!settling) return this.followed(this.look(reading, seq, false));
    return this.followed(settling.then(() => this.look(reading, seq, false)));
  }

  /** Ends the waiting for references and resolves when all readings taken have led to their findings. */
  async close(): Promise<void> {
    this.leaveKin();
    this.streams.close();
    await Promise.allSettled(this.underway);
  }

  private followed(found: Findings | Promise<Findings>): Findings | Promise<Findings> {
    if (!isPromise(found)) return found;
    this.underway.add(found);
    const forget = () => void this.underway.delete(found);
    found.then(forget, forget);
    return found;
  }

  private async servedLate(reading: Reading, late: Sources['late']): Promise<void> {
    try {
      const findings = await this.followed(this.look(reading, undefined, true));
      if (findings.length > 0) late(reading, findings);
    } catch {
      // The ledger is away: the finding that said "not proven" stands until the readings are sent through again.
    }
  }

  /** Readings of one group are looked at in the order in which they came, though the ledger may have to be asked for some. */
  private look(reading: Reading, seq: number | undefined, anew: boolean): Findings | Promise<Findings> {
    const groups = this.rules.groupsOf(reading.terminal);
    if (groups.length === 0) return NONE;
    const us = takenAtUs(reading);
    const { terminals, reach } = this.spanOf(groups);
    const told = (w: ReadingWindow) => groups.every((group) => isTold(w, group, reading, us));
    const asked = { reading, seq, terminals, fromUs: us - reach, toUs: us + reach, isTold: told };
    const seen = (w: ReadingWindow) => this.within(w, groups, reading, anew);
    const before = this.lanes.busy(groups);
    if (before) return this.lanes.enter(groups, before.then(() => this.recent.over(asked)).then(seen));
    const window = this.recent.over(asked);
    const found = isPromise(window) ? window.then(seen) : seen(window);
    return isPromise(found) ? this.lanes.enter(groups, found) : found;
  }

  /** All terminals of some groups, and how far they reach in time, microseconds. */
  private spanOf(groups: readonly G[]): Span {
    const known = this.spans.get(groups);
    if (known) return known;
    const terminals = [...new Set(groups.flatMap((g) => [...g.terminals, ...(g.beside ?? [])]))];
    const span = { terminals, reach: Math.max(...groups.map(reachUs)) };
    this.spans.set(groups, span);
    return span;
  }

  private within(
    window: ReadingWindow,
    groups: readonly G[],
    reading: Reading,
    anew: boolean,
  ): Findings | Promise<Findings> {
    const arrived = window.add(reading);
    if (arrived === 'duplicate' || (arrived === 'again' && !anew && !this.rules.saysAgain)) return NONE;
    // One fetched before it came may have come later than readings taken after it, which were judged without it.
    const touched = anew || arrived === 'new' ? 'all' : arrived === 'fetched' ? 'came' : 'own';
    const cases: Case<G>[] = [];
    for (const group of groups) this.casesOf(window, group, reading, touched, cases);
    if (cases.length === 0) return NONE;
    const recalling = this.streams.recall(cases);
    const conclude = () => this.conclude(cases, reading, window, anew);
    return recalling ? recalling.then(conclude) : conclude();
  }

  private casesOf(window: ReadingWindow, group: G, reading: Reading, touched: Touched, cases: Case<G>[]): void {
    const us = takenAtUs(reading);
    const instants = touched === 'own' ? [us] : instantsTouched(window, group, us, touched === 'came');
    for (const at of instants) {
      const set = setAt(window, group, at);
      const readings = this.rules.restsOn(group, set, reading, window);
      if (readings.some((r) => r.id === reading.id)) cases.push({ group, set, readings });
    }
  }

  private conclude(cases: readonly Case<G>[], reading: Reading, window: ReadingWindow, anew: boolean): Findings {
    const made = cases.map(({ group, set }) => {
      const findings = this.rules.conclude(group, set, reading, window, this.streams.align);
      const news = this.said.news(group.id, findings);
      return this.rules.saysAgain && !anew ? findings : news;
    });
    return made.length === 1 ? made[0]! : distinct(made.flat());
  }
}

/** The same finding may follow at several instants. */
const distinct = (findings: Findings): Findings => [...new Map(findings.map((f) => [f.id, f])).values()];

const isPromise = <T>(value: T | Promise<T>): value is Promise<T> =>
  typeof (value as { then?: unknown } | null)?.then === 'function';
