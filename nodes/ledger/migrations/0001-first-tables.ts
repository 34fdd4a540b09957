import { type RawBuilder, sql } from 'kysely';
import type { AnyDatabase, DialectWords, Step } from '.';

export const firstTables: Step = async (db, words) => {
  await readings(db, words);
  await rejections(db, words);
  await findings(db, words);
  await alerts(db, words);
  await deliveries(db, words);
  await db.schema
    .createTable('place')
    .addColumn('name', 'text', (c) => c.primaryKey())
    .addColumn('seq', 'bigint', (c) => c.notNull())
    .addColumn('moved_at_us', 'bigint', (c) => c.notNull())
    .execute();
  await db.schema
    .createTable('tally')
    .addColumn('name', 'text', (c) => c.primaryKey())
    .addColumn('amount', 'bigint', (c) => c.notNull())
    .execute();
};

const isSet = (column: string): Condition => sql<boolean>`${sql.ref(column)} is not null`;

async function readings(db: AnyDatabase, words: DialectWords): Promise<void> {
  await words
    .seq(db.schema.createTable('reading'))
    .addColumn('id', 'text', (c) => c.notNull().unique())
    .addColumn('terminal', 'text', (c) => c.notNull())
    .addColumn('taken_at_us', 'bigint', (c) => c.notNull())
    .addColumn('received_at_us', 'bigint', (c) => c.notNull())
    .addColumn('source', 'text', (c) => c.notNull())
    .addColumn('door', 'text', (c) => c.notNull())
    .addColumn('instrument', 'text')
    .addColumn('taken_by', 'text')
    .addColumn('job', 'text')
    .addColumn('against', 'text')
    .addColumn('angle_deg', 'double precision')
    .addColumn('voltage_v', 'double precision')
    .addColumn('body', words.json, (c) => c.notNull())
    .execute();
  await index(db, 'reading_by_terminal', ['terminal', 'taken_at_us', 'seq']);
  await index(db, 'reading_by_time', ['taken_at_us', 'seq']);
  await index(db, 'reading_by_door', ['door', 'seq']);
  await index(db, 'reading_by_instrument', ['instrument', 'taken_at_us', 'seq'], isSet('instrument'));
  await index(db, 'reading_by_person', ['taken_by', 'taken_at_us', 'seq'], isSet('taken_by'));
}

async function rejections(db: AnyDatabase, words: DialectWords): Promise<void> {
  await words
    .seq(db.schema.createTable('rejection'))
    .addColumn('id', 'text', (c) => c.notNull().unique())
    .addColumn('at_us', 'bigint', (c) => c.notNull())
    .addColumn('source', 'text', (c) => c.notNull())
    .addColumn('terminal', 'text')
    .addColumn('stage', 'text', (c) => c.notNull())
    .addColumn('code', 'text', (c) => c.notNull())
    .addColumn('body', words.json, (c) => c.notNull())
    .execute();
  await index(db, 'rejection_by_time', ['at_us', 'seq']);
  await index(db, 'rejection_by_terminal', ['terminal', 'at_us', 'seq'], isSet('terminal'));
}

async function findings(db: AnyDatabase, words: DialectWords): Promise<void> {
  await words
    .seq(db.schema.createTable('finding'))
    .addColumn('id', 'text', (c) => c.notNull().unique())
    .addColumn('kind', 'text', (c) => c.notNull())
    .addColumn('subject', 'text', (c) => c.notNull())
    .addColumn('about', 'text', (c) => c.notNull())
    .addColumn('at_us', 'bigint', (c) => c.notNull())
    .addColumn('stored_at_us', 'bigint', (c) => c.notNull())
    .addColumn('verdict', 'text')
    .addColumn('frame_id', 'text')
    .addColumn('frame_revision', 'text')
    .addColumn('superseded_by', 'text')
    .addColumn('superseded_at_us', 'bigint')
    .addColumn('body', words.json, (c) => c.notNull())
    .execute();
  await db.schema
    .createIndex('finding_that_holds')
    .unique()
    .on('finding')
    .columns(['kind', 'about'])
    .where(sql<boolean>`superseded_by is null`)
    .execute();
  await index(db, 'finding_by_time', ['at_us', 'seq']);
  await index(db, 'finding_by_subject', ['subject', 'at_us', 'seq']);
  await db.schema
    .createTable('finding_source')
    .addColumn('finding_seq', 'bigint', (c) => c.notNull().references('finding.seq').onDelete('cascade'))
    .addColumn('source_id', 'text', (c) => c.notNull())
    .addPrimaryKeyConstraint('finding_source_pk', ['finding_seq', 'source_id'])
    .execute();
  await index(db, 'finding_source_by_source', ['source_id', 'finding_seq']);
}

async function alerts(db: AnyDatabase, words: DialectWords): Promise<void> {
  await db.schema
    .createTable('alert')
    .addColumn('key', 'text', (c) => c.primaryKey())
    .addColumn('id', 'text', (c) => c.notNull())
    .addColumn('category', 'text', (c) => c.notNull())
    .addColumn('subject', 'text', (c) => c.notNull())
    .addColumn('priority', 'text', (c) => c.notNull())
    .addColumn('state', 'text', (c) => c.notNull())
    .addColumn('active', 'integer', (c) => c.notNull())
    .addColumn('revision', 'bigint', (c) => c.notNull())
    .addColumn('at_us', 'bigint', (c) => c.notNull())
    .addColumn('body', words.json, (c) => c.notNull())
    .execute();
  await index(db, 'alert_by_open_key', ['key'], sql<boolean>`state <> 'normal'`);
  await words
    .seq(db.schema.createTable('alert_transition'))
    .addColumn('id', 'text', (c) => c.notNull().unique())
    .addColumn('key', 'text', (c) => c.notNull())
    .addColumn('revision', 'bigint', (c) => c.notNull())
    .addColumn('subject', 'text', (c) => c.notNull())
    .addColumn('transition', 'text', (c) => c.notNull())
    .addColumn('state', 'text', (c) => c.notNull())
    .addColumn('at_us', 'bigint', (c) => c.notNull())
    .addColumn('made_by', 'text')
    .addColumn('body', words.json, (c) => c.notNull())
    .addUniqueConstraint('alert_transition_revision', ['key', 'revision'])
    .execute();
  await index(db, 'alert_transition_by_time', ['at_us', 'seq']);
  await index(db, 'alert_transition_by_subject', ['subject', 'at_us', 'seq']);
}

async function deliveries(db: AnyDatabase, words: DialectWords): Promise<void> {
  await words
    .seq(db.schema.createTable('delivery'))
    .addColumn('destination', 'text', (c) => c.notNull())
    .addColumn('key', 'text', (c) => c.notNull())
    .addColumn('subject', 'text', (c) => c.notNull())
    .addColumn('state', 'text', (c) => c.notNull())
    .addColumn('is_head', 'integer', (c) => c.notNull())
    .addColumn('attempts', 'integer', (c) => c.notNull())
    .addColumn('enqueued_at_us', 'bigint', (c) => c.notNull())
    .addColumn('due_at_us', 'bigint', (c) => c.notNull())
    .addColumn('done_at_us', 'bigint')
    .addColumn('answer', 'text')
    .addColumn('last_error', 'text', (c) => c.notNull())
    .addColumn('body', words.json, (c) => c.notNull())
    .addUniqueConstraint('delivery_once', ['destination', 'key'])
    .execute();
  const waiting = sql<boolean>`state = 'waiting'`;
  await index(db, 'delivery_by_subject', ['destination', 'subject', 'seq'], waiting);
  await index(
    db,
    'delivery_by_due',
    ['destination', 'due_at_us', 'seq'],
    sql<boolean>`state = 'waiting' and is_head = 1`,
  );
}

type Condition = RawBuilder<boolean>;

async function index(db: AnyDatabase, name: string, columns: string[], where?: Condition): Promise<void> {
  const [table] = name.split('_by_');
  const made = db.schema.createIndex(name).on(table!).columns(columns);
  await (where ? made.where(where) : made).execute();
}
