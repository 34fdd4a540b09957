/** What a ledger knows from before a restart: the plan of the feeder, and the newest identifications of its terminals. */
import type { LoadingDocument } from '../../lib/loading/model';
import type { Identification, PhaseloomRecord, Plan } from '../../lib/records';
import { type LedgerHandle, patiently } from '../kit/kept-readings';

interface KeptRecords {
  records(query: {
    readonly kinds: readonly ('identification' | 'plan')[];
    readonly subject: string;
    readonly currentOnly: true;
  }): Promise<{ readonly records: readonly PhaseloomRecord[] }>;
}

export type LedgerOfPlans = LedgerHandle;

export interface Recalled {
  readonly plan: Plan | undefined;
  readonly identifications: readonly Identification[];
}

export async function recall(
  ledger: LedgerHandle | undefined,
  document: LoadingDocument | undefined,
): Promise<Recalled> {
  if (!ledger || !document) return { plan: undefined, identifications: [] };
  const ask = async <T extends PhaseloomRecord>(kind: 'identification' | 'plan', subject: string): Promise<T[]> => {
    const query = { kinds: [kind], subject, currentOnly: true } as const;
    const { records } = await patiently(ledger, (kept) => (kept as unknown as KeptRecords).records(query));
    return records as T[];
  };
  const terminals = [...document.loads, ...(document.laterals ?? [])].flatMap((l) => l.terminals ?? []);
  const identifications: Identification[] = [];
  for (const t of new Set(terminals)) identifications.push(...(await ask<Identification>('identification', t)));
  const [plan] = await ask<Plan>('plan', document.id);
  return { plan, identifications };
}
