/** "Did you mean": the known name nearest to one that is not known. */

const MAX_EDITS = 2;
const MAX_LOOKED_AT = 20_000;
const REMEMBERED = 500;

/**
 * Finds a name that differs only in case, spaces or separators, else one at most two edits away.
 * Answers are remembered and the search is bounded: an instrument that keeps sending a wrong name must not cost much.
 */
export class NearMatch {
  private readonly answers = new Map<string, string | undefined>();
  private plainNames: Map<string, string> | undefined;

  constructor(private readonly names: ReadonlyMap<string, unknown>) {}

  to(name: string): string | undefined {
    if (this.answers.has(name)) return this.answers.get(name);
    if (this.answers.size >= REMEMBERED) this.answers.clear();
    const answer = this.samePlain(name) ?? this.fewestEdits(name);
    this.answers.set(name, answer);
    return answer;
  }

  private samePlain(name: string): string | undefined {
    this.plainNames ??= new Map([...this.names.keys()].map((known) => [plain(known), known]));
    return this.plainNames.get(plain(name));
  }

  private fewestEdits(name: string): string | undefined {
    let best: string | undefined;
    let fewest = MAX_EDITS + 1;
    let looked = 0;
    for (const known of this.names.keys()) {
      if (Math.abs(known.length - name.length) >= fewest) continue;
      if (++looked > MAX_LOOKED_AT) break;
      const edits = editsBetween(name, known, fewest - 1);
      if (edits < fewest) [best, fewest] = [known, edits];
    }
    return best;
  }
}

const plain = (name: string) => name.toLowerCase().replace(/[\s/\\._-]+/g, '/');

/** Levenshtein distance, or any number past `most` as soon as it is sure to be exceeded. */
function editsBetween(a: string, b: string, most: number): number {
  let before = Array.from({ length: b.length + 1 }, (_, j) => j);
  for (let i = 1; i <= a.length; i++) {
    const row = [i];
    for (let j = 1; j <= b.length; j++) {
      const swap = before[j - 1]! + (a[i - 1] === b[j - 1] ? 0 : 1);
      row.push(Math.min(swap, before[j]! + 1, row[j - 1]! + 1));
    }
    if (Math.min(...row) > most) return most + 1;
    before = row;
  }
  return before[b.length]!;
}
