/**
 * Views for those who ask questions of their own, version 1: flat, with units in the names. A view that was released is never changed; what
 * must differ becomes v2_. They show neither deliveries nor what a rejected message held.
 */
import { sql } from 'kysely';
import type { DialectWords, Step } from '.';
import { type Columns, viewOf } from './view-text';

export const views: Step = async (db, words) => {
  const run = (text: string) => sql.raw(text).execute(db);
  if (words.timeFunction) await run(words.timeFunction('v1_us'));
  await run(viewOf('v1_reading', 'reading', readingColumns(words)));
  await run(viewOf('v1_rejection', 'rejection', rejectionColumns(words)));
  await run(viewOf('v1_finding', 'finding', findingColumns(words)));
  await run(viewOf('v1_identification', 'finding', identificationColumns(words), "kind = 'identification'"));
  await run(viewOf('v1_rotation', 'finding', rotationColumns(words), "kind = 'rotation'"));
  await run(viewOf('v1_comparison', 'finding', comparisonColumns(words), "kind = 'comparison'"));
  await run(
    viewOf(
      'v1_terminal_phase',
      'finding',
      identificationColumns(words),
      "kind = 'identification' and superseded_by is null",
    ),
  );
  await run(
    'create view v1_finding_source as select id as finding_id, source_id from finding_source join finding on seq = finding_seq',
  );
  await run(viewOf('v1_alert', 'alert', alertColumns(words)));
  await run(viewOf('v1_alert_transition', 'alert_transition', transitionColumns(words)));
};

const readingColumns = ({ member, instant, body }: DialectWords): Columns => ({
  from: body,
  columns: {
    reading_id: 'id',
    seq: 'seq',
    terminal: 'terminal',
    taken_at: instant('taken_at_us'),
    taken_at_us: 'taken_at_us',
    received_at: instant('received_at_us'),
    angle_deg: 'angle_deg',
    against: 'against',
    sigma_deg: member('number', 'sigmaDeg'),
    voltage_v: 'voltage_v',
    voltage_is: member('text', 'voltageIs'),
    frequency_hz: member('number', 'frequencyHz'),
    clock_source: member('text', 'clock', 'source'),
    clock_error_us: member('number', 'clock', 'errorUs'),
    clock_locked: member('boolean', 'clock', 'locked'),
    clock_holdover_s: member('number', 'clock', 'holdoverS'),
    coupling: member('text', 'coupling'),
    instrument: 'instrument',
    instrument_self_test: member('text', 'instrument', 'selfTest'),
    instrument_battery_pct: member('number', 'instrument', 'batteryPct'),
    instrument_calibrated_on: member('text', 'instrument', 'calibratedOn'),
    instrument_sequence: member('number', 'instrument', 'sequence'),
    taken_by: 'taken_by',
    job: 'job',
    latitude_deg: member('number', 'position', 'lat'),
    longitude_deg: member('number', 'position', 'lon'),
    note: member('text', 'note'),
    source: 'source',
  },
});

const rejectionColumns = ({ member, instant, body }: DialectWords): Columns => ({
  from: body,
  columns: {
    rejection_id: 'id',
    at: instant('at_us'),
    at_us: 'at_us',
    source: 'source',
    terminal: 'terminal',
    stage: 'stage',
    code: 'code',
    where_in_message: member('text', 'problems', 0, 'at'),
    what: member('text', 'problems', 0, 'what'),
    right_would_be: member('text', 'problems', 0, 'expected'),
    message_bytes: member('number', 'bytes'),
  },
});

const findingColumns = ({ instant, body }: DialectWords): Columns => ({
  from: body,
  columns: {
    finding_id: 'id',
    kind: 'kind',
    subject: 'subject',
    at: instant('at_us'),
    at_us: 'at_us',
    stored_at: instant('stored_at_us'),
    verdict: 'verdict',
    is_current: 'superseded_by is null',
    superseded_by: 'superseded_by',
    superseded_at: instant('superseded_at_us'),
    frame_id: 'frame_id',
    frame_revision: 'frame_revision',
  },
});

const withReasons = (words: DialectWords, own: Columns['columns']): Columns => {
  const { kind: _kind, subject: _subject, ...common } = findingColumns(words).columns;
  return { from: words.body, columns: { ...own, ...common, reasons_json: words.member('json', 'reasons') } };
};

const identificationColumns = (words: DialectWords): Columns =>
  withReasons(words, {
    terminal: 'subject',
    site: words.member('text', 'site'),
    phase: words.member('text', 'phase'),
    connection: words.member('text', 'connection'),
    probability: words.member('number', 'probability'),
    angle_deg: words.member('number', 'angleDeg'),
    expected_deg: words.member('number', 'expectedDeg'),
    residual_deg: words.member('number', 'residualDeg'),
    sd_deg: words.member('number', 'sdDeg'),
    reference: words.member('text', 'reference'),
    recorded_phase: words.member('text', 'recordedPhase'),
    agrees_with_record: words.member('boolean', 'agreesWithRecord'),
  });

const rotationColumns = (words: DialectWords): Columns =>
  withReasons(words, {
    site: 'subject',
    terminals_json: words.member('json', 'terminals'),
    viewing: words.member('text', 'viewing'),
    sequence: words.member('text', 'sequence'),
    turns: words.member('text', 'turns'),
    recorded_sequence: words.member('text', 'recordedSequence'),
    agrees_with_record: words.member('boolean', 'agreesWithRecord'),
    probability: words.member('number', 'probability'),
    negative_sequence_pct: words.member('number', 'unbalance', 'negativeSequencePct'),
    line_voltage_unbalance_pct: words.member('number', 'unbalance', 'lineVoltagePct'),
  });

const comparisonColumns = (words: DialectWords): Columns =>
  withReasons(words, {
    open_point: 'subject',
    landing: words.member('text', 'landing'),
    probability: words.member('number', 'probability'),
    standing_angle_deg: words.member('number', 'standingAngleDeg'),
    standing_angle_upper_deg: words.member('number', 'standingAngleUpperDeg'),
    tolerance_deg: words.member('number', 'toleranceDeg'),
    proof: words.member('text', 'proof'),
    pairs_json: words.member('json', 'pairs'),
  });

const alertColumns = ({ member, instant, body }: DialectWords): Columns => ({
  from: body,
  columns: {
    alert_key: 'key',
    category: 'category',
    subject: 'subject',
    priority: 'priority',
    state: 'state',
    is_active: 'active = 1',
    revision: 'revision',
    changed_at: instant('at_us'),
    since: member('text', 'since'),
    times_raised: member('number', 'count'),
    text: member('text', 'text'),
  },
});

const transitionColumns = ({ member, instant, body }: DialectWords): Columns => ({
  from: body,
  columns: {
    alert_key: 'key',
    revision: 'revision',
    subject: 'subject',
    transition: 'transition',
    state: 'state',
    at: instant('at_us'),
    at_us: 'at_us',
    made_by: 'made_by',
    comment: member('text', 'comment'),
    text: member('text', 'text'),
  },
});
