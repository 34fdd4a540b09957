import { sql } from 'kysely';
import type { Step } from '.';
import { viewOf } from './view-text';

/** What stays of readings that were let go, for those who ask questions of their own. */
export const letGoViews: Step = async (db, words) => {
  const { member } = words;
  const columns = {
    terminal: 'terminal',
    day: 'day',
    against: 'against',
    readings: 'readings',
    first_taken_at: words.instant(`cast(${member('text', 'firstUs')} as bigint)`),
    last_taken_at: words.instant(`cast(${member('text', 'lastUs')} as bigint)`),
    angles: member('number', 'angles'),
    mean_angle_deg: member('number', 'meanAngleDeg'),
    resultant: member('number', 'resultant'),
    voltages: member('number', 'voltages'),
    mean_voltage_v: member('number', 'meanVoltageV'),
    worst_fitness: member('text', 'worstFitness'),
    instruments_json: member('json', 'instruments'),
  };
  await sql.raw(viewOf('v1_reading_day', 'reading_day', { from: words.body, columns })).execute(db);
  await sql
    .raw(
      viewOf('v1_reading_held', 'reading_held', {
        from: '',
        columns: { reading_id: 'id', taken_at: words.instant('taken_at_us'), taken_at_us: 'taken_at_us' },
      }),
    )
    .execute(db);
};
