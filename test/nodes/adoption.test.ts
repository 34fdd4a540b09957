import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { connectAsync, type MqttClient } from 'mqtt';
import { PostgresLedger } from '../../nodes/ledger/postgres/postgres-ledger';
import { Adoption } from '../../nodes/readings-in/adoption';
import type { Held } from '../../nodes/readings-in/connection';
import { borrowedSession } from '../../nodes/readings-in/identity';
import { Session } from '../../nodes/readings-in/session';
import { type Broker, mosquitto } from '../kit/broker';
import { type PostgresServer, startPostgres } from '../kit/postgres';

/** Lease 5 s, 10 s in which a restarted worker would be back, 3 s of looking, and what a busy machine needs. */
const ADOPTED_WITHIN_MS = 60_000;

/** A worker at the front door, as far as sessions go. */
class Worker {
  readonly got: string[] = [];
  readonly adoptedFrom: string[] = [];
  readonly notes: string[] = [];
  readonly session: Session;
  readonly adopted: Session[] = [];
  readonly adoption: Adoption;
  /** false: every second message is not answered for, and is delivered again to whoever reads next */
  acknowledges = true;
  private arrived = 0;

  constructor(
    readonly name: string,
    scope: string,
    ledger: PostgresLedger,
    broker: Broker,
    isBusy = false,
  ) {
    this.session = this.sessionOf(name, broker, this.got);
    this.adoption = new Adoption(ledger.sharing, {
      scope,
      instance: name,
      clientId: name,
      open: (clientId) => {
        const session = this.sessionOf(clientId, broker, this.adoptedFrom);
        this.adopted.push(session);
        return session;
      },
      isBusy: () => isBusy,
      note: (text) => this.notes.push(text),
    });
  }

  async start(): Promise<this> {
    await this.adoption.start();
    this.session.start();
    await until('connected', () => this.session.state === 'connected');
    return this;
  }

  /** As far as others see, it died: its claim and its session stay. */
  async end(): Promise<void> {
    await this.session.end(false);
    await this.adoption.close(false);
  }

  private sessionOf(clientId: string, broker: Broker, got: string[]): Session {
    const options = {
      clientId,
      protocolVersion: 5 as const,
      clean: false,
      reconnectPeriod: 0,
      resubscribe: false,
      keepalive: 60,
      properties: { sessionExpiryInterval: 3600 },
    };
    const wanted = { clientId, broker: 'test', filters: [`for/${clientId}/#`] };
    const session: Session = new Session(broker.url, options, wanted, borrowedSession(wanted), {
      arrived: (packet, held) => {
        if (!this.acknowledges && this.arrived++ % 2 === 1) return true;
        got.push(packet.payload.toString());
        if (held) session.acknowledge([held as Held]);
        return true;
      },
      warn: () => undefined,
      note: () => undefined,
    });
    return session;
  }
}

async function until(what: string, holds: () => boolean | Promise<boolean>, withinMs = 20_000): Promise<void> {
  for (const end = Date.now() + withinMs; Date.now() < end; await sleep(20)) if (await holds()) return;
  throw new Error(`${what}: not within ${withinMs} ms`);
}

describe('the session of a worker that is gone', function () {
  this.timeout(180_000);
  let server: PostgresServer;
  let broker: Broker;
  let publisher: MqttClient;
  const ledgers: PostgresLedger[] = [];
  before(async () => {
    server = await startPostgres();
    broker = await mosquitto();
    publisher = await connectAsync(broker.url);
    for (const _ of [1, 2, 3]) {
      const ledger = new PostgresLedger({ connection: server.connection });
      await ledger.open();
      ledgers.push(ledger);
    }
  });
  after(async () => {
    await publisher?.endAsync(true);
    for (const ledger of ledgers) await ledger.close();
    await broker?.stop();
    await server?.stop();
  });
  const publish = (to: string, n: number) => publisher.publishAsync(`for/${to}/x`, String(n), { qos: 1 });
  const holderOf = async (scope: string, name: string) => {
    const now = 'extract(epoch from clock_timestamp()) * 1e6';
    const rows = await server.sql(
      `select split_part(holder, ':', 1) as holder from phaseloom.claim
       where scope = '${scope}' and name = '${name}' and until_us > ${now}`,
    );
    return (rows[0] as { holder: string } | undefined)?.holder;
  };

  it('is its own again when it comes back: who reads it stops and does not come again, and nothing is lost', async () => {
    await (await new Worker('back', 'one', ledgers[0]!, broker).start()).end();
    const heir = await new Worker('heir', 'one', ledgers[1]!, broker, true).start();
    let sent = 0;
    for (; sent < 40; sent++) await publish('back', sent);
    heir.acknowledges = false;
    await until('read on', () => heir.adoptedFrom.length > 10, ADOPTED_WITHIN_MS);
    expect(await holderOf('one', 'back')).to.equal('heir');
    const publishing = setInterval(() => void publish('back', sent++), 50);
    const back = await new Worker('back', 'one', ledgers[0]!, broker).start();
    await until('the other has stopped', () => heir.adopted[0]!.state === 'ended', 5000);
    await until('the claim is its own again', async () => (await holderOf('one', 'back')) === 'back');
    // As long as a first, a second and a third attempt to connect again would take.
    await sleep(6000);
    clearInterval(publishing);
    const all = Array.from({ length: sent }, (_, n) => String(n));
    const read = () => new Set([...heir.adoptedFrom, ...back.got]);
    await until('all have been read', () => all.every((n) => read().has(n)));
    expect([back.session.facts.takenOver, back.session.facts.connects], 'left alone').to.deep.equal([0, 1]);
    expect(heir.adopted.map((s) => s.facts.connects)).to.deep.equal([1]);
    await back.end();
    await heir.end();
  });

  it('is read on by a third when the one that reads it stops', async () => {
    await (await new Worker('gone', 'two', ledgers[0]!, broker).start()).end();
    const heir = await new Worker('heir', 'two', ledgers[1]!, broker, true).start();
    await until('read on', () => heir.adopted.length > 0, ADOPTED_WITHIN_MS);
    await heir.end();
    await publish('gone', 1);
    const third = await new Worker('third', 'two', ledgers[2]!, broker).start();
    await until('read to its end', () => third.notes.includes('the session of gone was read to its end'), 90_000);
    expect(third.adoptedFrom).to.deep.equal(['1']);
    expect(await ledgers[2]!.sharing.lapsed('two', 0), 'nobody looks for it any more').not.to.include('gone');
    await third.end();
  });

  it('can be claimed again by a worker that comes back after its session was read to its end', async () => {
    const back = await new Worker('gone', 'two', ledgers[0]!, broker).start();
    await until('its claim', async () => (await holderOf('two', 'gone')) === 'gone');
    await back.end();
  });
});
