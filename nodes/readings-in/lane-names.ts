/**
 * Lanes: the readings of a door, divided so that those judged together are in one. Several workers share out the lanes; one worker at a
 * time sends what is in a lane, in the order of storing, whoever stored it.
 */
import { isHeardByAll, kinChanges, kinOf } from '../kit/kin';

/** More lanes than workers anybody will start; never changed, for the ledger holds readings under their names. */
const LANES = 32;
/** Terminals whose lane is remembered. */
const REMEMBERED = 100_000;

export class LaneNames {
  /** what every worker hears, and one of them answers for */
  readonly all: string;
  /** lanes to be held, that of the readings from before there were lanes included */
  readonly held: readonly string[];
  private readonly known = new Map<string, string>();
  private changes = kinChanges();

  constructor(private readonly door: string) {
    this.all = `${door}/all`;
    const numbered = Array.from({ length: LANES }, (_, n) => this.numbered(n));
    this.held = [...numbered, this.all, door];
  }

  of(terminal: string): string {
    if (this.changes !== kinChanges()) {
      this.known.clear();
      this.changes = kinChanges();
    }
    const known = this.known.get(terminal);
    if (known) return known;
    const lane = isHeardByAll(terminal) ? this.all : this.numbered(hash(eldest(kinOf(terminal))) % LANES);
    if (this.known.size < REMEMBERED) this.known.set(terminal, lane);
    return lane;
  }

  private numbered(n: number): string {
    return `${this.door}/${n}`;
  }
}

/** The same for all kin. */
function eldest(kin: ReadonlySet<string>): string {
  let first: string | undefined;
  for (const terminal of kin) if (first === undefined || terminal < first) first = terminal;
  return first ?? '';
}

/** FNV-1a, 32 bits (draft-eastlake-fnv): spreads, and nothing more is asked of it. */
function hash(text: string): number {
  let h = 0x811c9dc5;
  for (let i = 0; i < text.length; i++) h = Math.imul(h ^ text.charCodeAt(i), 0x01000193);
  return h >>> 0;
}
