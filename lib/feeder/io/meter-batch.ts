/** Meter voltages of unknown origin, checked. */
import { Type } from '@sinclair/typebox';
import { Instant, Name } from '../../records/envelope';
import { problemsAgainst } from '../../validate';
import type { MeterBatch } from '../meter-evidence';

const Series = Type.Record(Name('phase or terminal'), Type.Array(Type.Union([Type.Number(), Type.Null()])));

export const MeterBatchSchema = Type.Object({
  id: Name('what the trace names as its source'),
  until: Instant(),
  phases: Series,
  meters: Series,
});

export type MeterBatchRead =
  | { readonly ok: true; readonly batch: MeterBatch }
  | { readonly ok: false; readonly problems: readonly string[] };

/** Besides the schema: series that are to be held against each other must be of the same instants, and so of the same length. */
export function readMeterBatch(value: unknown): MeterBatchRead {
  const problems = problemsAgainst(MeterBatchSchema, value).map(
    (p) => `${p.at || '/'}: ${p.what}; expected ${p.expected}`,
  );
  if (problems.length > 0) return { ok: false, problems };
  const batch = value as MeterBatch;
  const length = Math.max(...Object.values(batch.phases).map((s) => s.length));
  for (const [part, all] of Object.entries({ phases: batch.phases, meters: batch.meters })) {
    for (const [name, { length: own }] of Object.entries(all)) {
      if (own !== length)
        problems.push(`/${part}/${name}: has ${own} values; expected ${length}, as the longest phase has`);
    }
  }
  return problems.length > 0 ? { ok: false, problems } : { ok: true, batch };
}
