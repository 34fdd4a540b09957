/**
 * Which finding of each kind and subject holds, worked out for many findings at once in the order they came. Without a database: what
 * must be written is what differs from before.
 */
import { parseInstant } from '../../../lib/instant';
import type { Finding } from '../../../lib/records';

export interface KnownFinding {
  readonly id: string;
  /** 0 before it is stored */
  readonly seq: number;
  readonly kind: string;
  readonly about: string;
  readonly at_us: number;
  readonly frame_revision: string | null;
  readonly superseded_by: string | null;
}

interface Place {
  readonly known: KnownFinding;
  /** undefined: it was in the database before */
  readonly finding: Finding | undefined;
  supersededBy: string | null;
}

export class Standing {
  private readonly byId = new Map<string, Place>();
  private readonly holding = new Map<string, Place>();

  constructor(known: Iterable<KnownFinding>) {
    for (const finding of known) {
      const place = { known: finding, finding: undefined, supersededBy: finding.superseded_by };
      this.byId.set(finding.id, place);
      if (finding.superseded_by === null) this.holding.set(keyOf(finding), place);
    }
  }

  /** True when it is new. */
  keep(finding: Finding, about: string, how?: 'anew'): boolean {
    const known = this.byId.get(finding.id);
    if (known) {
      const holding = this.holding.get(keyOf(known.known));
      if (holding && isSaidAnew(known, holding, how)) this.hold(known);
      return false;
    }
    const { id, kind, frame } = finding;
    const at_us = parseInstant(finding.at);
    const row = { id, seq: 0, kind, about, at_us, frame_revision: frame?.revision ?? null, superseded_by: null };
    const place: Place = { known: row, finding, supersededBy: null };
    this.byId.set(id, place);
    const holding = this.holding.get(keyOf(row));
    if (holding && at_us < holding.known.at_us) place.supersededBy = holding.known.id;
    else this.hold(place);
    return true;
  }

  /** Those that were not in the database, in the order they came. */
  fresh(): { readonly finding: Finding; readonly about: string; readonly supersededBy: string | null }[] {
    return [...this.byId.values()].flatMap(({ finding, known, supersededBy }) =>
      finding ? [{ finding, about: known.about, supersededBy }] : [],
    );
  }

  /** Those in the database that lost or regained their place. */
  changed(): { readonly known: KnownFinding; readonly supersededBy: string | null }[] {
    return [...this.byId.values()].filter((p) => !p.finding && p.supersededBy !== p.known.superseded_by);
  }

  /** Those that hold now and did not before. */
  installed(): KnownFinding[] {
    const now = [...this.holding.values()].filter((p) => p.finding !== undefined || p.known.superseded_by !== null);
    return now.map((p) => p.known);
  }

  private hold(place: Place): void {
    const key = keyOf(place.known);
    const before = this.holding.get(key);
    if (before) before.supersededBy = place.known.id;
    place.supersededBy = null;
    this.holding.set(key, place);
  }
}

/** The same is said of the same instant once more, and what was said in between came of another frame or of less that was known. */
const isSaidAnew = (known: Place, holding: Place, how: 'anew' | undefined): boolean =>
  known.supersededBy !== null &&
  known.known.at_us === holding.known.at_us &&
  (how === 'anew' || known.known.frame_revision !== holding.known.frame_revision);

const keyOf = ({ kind, about }: Pick<KnownFinding, 'kind' | 'about'>): string => `${kind} ${about}`;
