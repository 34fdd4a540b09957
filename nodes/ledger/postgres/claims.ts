/** Claims of workers, by the clock of the database alone. One statement a beat: a worker that freezes holds nothing locked. */
import type { Claim, Holding, HoldRequest } from '../../kit/sharing';
import type { Client } from './connection';

/**
 * A row that another worker has locked at this moment is passed over, so that nobody waits and two never take the same. A term that ends
 * later than any lease given now was given before the clock of the database was set back: it is cut to a lease from now, in which whoever
 * is alive renews it.
 */
const HOLD = `
with clock as (select (extract(epoch from clock_timestamp()) * 1e6)::bigint as now_us),
beat as (
  insert into worker (scope, holder, until_us) select $1, $2, now_us + $5 from clock
  on conflict (scope, holder) do update set until_us = excluded.until_us),
cut as (
  update claim set until_us = now_us + $5 from clock
  where name in (select name from claim, clock where scope = $1 and holder <> $2 and claim.until_us > now_us + $5 for update of claim skip locked)
    and scope = $1),
cut_workers as (
  update worker set until_us = now_us + $5 from clock
  where scope = $1 and holder in (select holder from worker, clock
    where scope = $1 and holder <> $2 and worker.until_us > now_us + $5 for update of worker skip locked)),
others as (select count(*) as n from worker, clock where scope = $1 and holder <> $2 and worker.until_us > now_us),
given as (
  update claim set holder = '', until_us = 0 where scope = $1 and holder = $2 and name = any($4::text[])),
kept as (
  update claim set until_us = now_us + $5 from clock
  where scope = $1 and holder = $2 and claim.until_us > now_us and name = any($3::text[]) and name <> all($4::text[])
  returning name, term),
free as (
  select name from claim, clock where scope = $1 and claim.until_us <= now_us and name = any($3::text[]) and name <> all($4::text[])
  order by name
  limit greatest(0, ceil(cardinality($3::text[]) / (1.0 + (select n from others)))::int - (select count(*) from kept))
  for update of claim skip locked),
taken as (
  update claim set holder = $2, until_us = now_us + $5, term = term + 1 from free, clock
  where claim.scope = $1 and claim.name = free.name
  returning claim.name, claim.term)
select name, term, (select n from others) as others from kept
union all select name, term, (select n from others) from taken
union all select null, 0, (select n from others)`;

export async function hold(client: Client, request: HoldRequest): Promise<Holding> {
  const { scope, holder, names, giveBack, leaseMs } = request;
  const { rows } = await client.query<Claim & { others: number }>(HOLD, [
    scope,
    holder,
    names,
    giveBack,
    Math.round(leaseMs * 1000),
  ]);
  const claims = rows.flatMap(({ name, term }) => (name === null ? [] : [{ name, term }]));
  return { claims, holders: 1 + rows[0]!.others };
}

export async function prepare(client: Client, scope: string, names: readonly string[]): Promise<void> {
  await client.query(
    `insert into claim (scope, name, holder, until_us, term) select $1, n, '', 0, 0 from unnest($2::text[]) as n
     on conflict (scope, name) do nothing`,
    [scope, names],
  );
  // Workers that are long gone.
  await client.query(
    "delete from worker where scope = $1 and until_us < (extract(epoch from clock_timestamp() - interval '1 day') * 1e6)::bigint",
    [scope],
  );
}

export async function leave(client: Client, scope: string, holder: string): Promise<void> {
  await client.query(
    `with gone as (delete from worker where scope = $1 and holder = $2)
     update claim set holder = '', until_us = 0 where scope = $1 and holder = $2`,
    [scope, holder],
  );
}

export async function lapsed(client: Client, scope: string, forMs: number): Promise<string[]> {
  const { rows } = await client.query<{ name: string }>(
    `select name from claim where scope = $1 and until_us > 0
       and until_us < (extract(epoch from clock_timestamp()) * 1e6)::bigint - $2::bigint order by name`,
    [scope, Math.round(forMs * 1000)],
  );
  return rows.map(({ name }) => name);
}

export async function forget(client: Client, scope: string, name: string): Promise<void> {
  await client.query("update claim set holder = '', until_us = 0 where scope = $1 and name = $2", [scope, name]);
}
