/** What a ledger knows from before a restart: the plan of the feeder, and the newest proof of the phase at each of its terminals. */
import { isProof } from '../../lib/loading/identified';
import type { LoadingDocument } from '../../lib/loading/model';
import type { Identification, Plan } from '../../lib/records';
import { type LedgerHandle, patiently } from '../kit/kept-readings';

export interface Recalled {
  readonly plan: Plan | undefined;
  readonly identifications: readonly Identification[];
}

export async function recall(
  ledger: LedgerHandle | undefined,
  document: LoadingDocument | undefined,
): Promise<Recalled> {
  if (!ledger || !document) return { plan: undefined, identifications: [] };
  const identifications: Identification[] = [];
  for (const t of terminalsOf(document)) {
    const proof = await newestProof(ledger, t);
    if (proof) identifications.push(proof);
  }
  const { records } = await patiently(ledger, (kept) =>
    kept.records({ kinds: ['plan'], subject: document.id, currentOnly: true, limit: 1 }),
  );
  return { plan: records[0] as Plan | undefined, identifications };
}

/** Where phases of loads and laterals are read. */
export const terminalsOf = ({ loads, laterals = [] }: LoadingDocument): Set<string> =>
  new Set([...loads, ...laterals].flatMap((l) => l.terminals ?? []));

const PAGE = 100;

/** What was proven stands, though a later reading that proves nothing has superseded it; of one instant the last judgement counts. */
async function newestProof(ledger: LedgerHandle, subject: string): Promise<Identification | undefined> {
  const judged = new Set<string>();
  let after: string | undefined;
  do {
    const page = await patiently(ledger, (kept) =>
      kept.records({
        kinds: ['identification'],
        subject,
        order: 'newest-first',
        limit: PAGE,
        ...(after === undefined ? {} : { after }),
      }),
    );
    for (const i of page.records as readonly Identification[]) {
      if (!judged.has(i.at) && isProof(i)) return i;
      judged.add(i.at);
    }
    after = page.next;
  } while (after !== undefined);
  return undefined;
}
