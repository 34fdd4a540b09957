/** A record in one line, with the way to all of it. */
import type { PhaseloomRecord } from '../../../lib/records';
import { to } from './place';
import { gist, instant, instantOf, subjectOf } from './words';

export function RecordLink({ record }: { readonly record: PhaseloomRecord }) {
  return (
    <>
      <a href={to('records', record.id)}>
        {record.kind} {subjectOf(record)}
      </a>{' '}
      <time dateTime={instantOf(record)}>{instant(instantOf(record))}</time>: {gist(record)}
    </>
  );
}
