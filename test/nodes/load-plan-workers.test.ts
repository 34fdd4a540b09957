import { expect } from 'chai';
import { makeLoading } from '../../lib/loading/model';
import { planMoves } from '../../lib/loading/plan';
import { planRecord } from '../../lib/loading/plan-record';
import type { Identification, Plan } from '../../lib/records';
import type { Ledger } from '../../nodes/ledger/ledger';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { PlanDesk } from '../../nodes/load-plan/desk';
import { StandingPlan } from '../../nodes/load-plan/standing-plan';
import { LOADED, provenAtT1 } from '../kit/board-plan';
import { type PostgresServer, startPostgres } from '../kit/postgres';

/** Several workers of one load plan node on one PostgreSQL ledger, each with connections of its own, as several Node-RED processes have. */
class Worker {
  readonly followed: Plan[] = [];
  readonly troubles: unknown[] = [];
  readonly desk: PlanDesk;
  readonly standing: StandingPlan;

  constructor(readonly ledger: Ledger) {
    const trouble = (why: string) => this.troubles.push(why);
    this.desk = new PlanDesk({ document: LOADED, settings: {} }, { progress: () => undefined, trouble });
    this.standing = new StandingPlan({
      id: 'plan',
      ledger: { ready: async () => ledger },
      document: LOADED,
      desk: this.desk,
      takenUp: () => undefined,
      followed: async (plan) => {
        this.followed.push(plan);
        await ledger.keep(plan);
      },
      failed: (cause) => this.troubles.push(cause),
    });
  }

  async plan(): Promise<void> {
    const search = { aim: { kind: 'best', moves: 1 }, nowMs: () => performance.now(), timeS: 0.2, seed: 1 } as const;
    const at = new Date().toISOString().replace('Z', '000Z');
    const plan = planRecord(await planMoves(makeLoading(LOADED), search), { at });
    this.desk.adopt(plan);
    await this.ledger.keep(plan);
  }

  async close(): Promise<void> {
    this.standing.close();
    await this.ledger.close();
  }
}

describe('load plan, several workers on one ledger', function () {
  this.timeout(60_000);
  let server: PostgresServer;
  let schemas = 0;
  before(async () => {
    server = await startPostgres();
  });
  beforeEach(() => {
    schemas++;
  });
  after(() => server?.stop());
  const worker = async () => {
    const ledger = new PostgresLedger({ connection: server.connection, schema: `plan_${schemas}` });
    await ledger.open();
    const made = new Worker(ledger);
    await made.standing.ready;
    return made;
  };
  const until = async (what: string, holds: () => boolean | Promise<boolean>) => {
    for (const end = Date.now() + 30_000; !(await holds()); await new Promise((r) => setTimeout(r, 50)))
      if (Date.now() > end) throw new Error(`${what} did not come about`);
  };
  const found = (w: Worker, i: Identification) => {
    w.standing.identified([i]);
    return w.ledger.keep(i);
  };
  const states = (w: Worker) => w.desk.plan?.moves.map((m) => m.state);

  it('a plan that one makes is confirmed by what another finds, is said once, and stands with both', async () => {
    const workers = [await worker(), await worker()] as const;
    await workers[1].plan();
    await until('the plan with the other', () => workers[0].desk.plan !== undefined);
    await found(workers[1], provenAtT1('A', 5));
    await until('the confirmation', () => workers.some((w) => w.followed.length > 0));
    await until('the same with both', () => workers.every((w) => states(w)?.[0] === 'confirmed'));
    expect(workers.flatMap((w) => w.followed.map((p) => p.moves[0]!.state))).to.deep.equal(['confirmed']);
    const kept = async () =>
      (await workers[0].ledger.records({ kinds: ['plan'], currentOnly: true })).records as Plan[];
    await until('the record', async () => (await kept())[0]?.moves[0]?.state === 'confirmed');
    expect(await kept()).to.have.length(1);
    expect(workers.flatMap((w) => w.troubles)).to.deep.equal([]);
    await Promise.all(workers.map((w) => w.close()));
  });

  it('one takes over from another that is gone, with what nobody followed up', async () => {
    const first = await worker();
    const heir = await worker();
    await first.plan();
    await until('the plan with the other', () => heir.desk.plan !== undefined);
    await first.close();
    await found(heir, provenAtT1('A', 5));
    await until('the confirmation', () => heir.followed.some((p) => p.moves[0]!.state === 'confirmed'));
    expect(heir.troubles).to.deep.equal([]);
    await heir.close();
  });
});
