/** A record as a CloudEvent 1.0, structured mode. */
import { type PhaseloomRecord, schemas } from '../../lib/records';

export const CLOUD_EVENT_TYPE = 'application/cloudevents+json; charset=utf-8';

export function cloudEvent(record: PhaseloomRecord, source: string, subject: string): object {
  const schema = schemas[record.kind as keyof typeof schemas];
  return {
    specversion: '1.0',
    id: record.id,
    source,
    type: `org.phaseloom.${record.kind}`,
    subject,
    time: record.kind === 'reading' ? record.takenAt : record.at,
    datacontenttype: 'application/json',
    ...(schema?.$id ? { dataschema: schema.$id } : {}),
    data: record,
  };
}

/** What a record is about: deliveries about one subject leave in order. */
export function subjectOf(record: PhaseloomRecord): string {
  const r = record as unknown as Record<string, unknown>;
  const named = r.key ?? r.openPoint ?? r.terminal ?? r.site ?? r.feeder ?? r.source;
  return typeof named === 'string' ? named : record.kind;
}
