import { once } from 'node:events';
import { type AddressInfo, createServer, type Server, type Socket } from 'node:net';
import { setTimeout as sleep } from 'node:timers/promises';
import { expect } from 'chai';
import { generate, parser } from 'mqtt-packet';
import { Connection } from '../../nodes/readings-in/connection';

const KEEPALIVE_S = 1;

/** A broker that is so far behind that its answer to a ping does not come: it goes on sending readings. */
describe('the line to a broker that is far behind', function () {
  this.timeout(20_000);
  let server: Server;
  let connection: Connection;
  let socket: Socket;
  let acks = 0;
  let isClosed = false;
  let isAcknowledging = true;
  before(async () => {
    server = createServer((line) => {
      socket = line;
      const read = parser();
      read.on('packet', (packet) => {
        if (packet.cmd === 'connect') line.write(generate({ cmd: 'connack', returnCode: 0, sessionPresent: false }));
        if (packet.cmd === 'puback') acks++;
      });
      line.on('data', (bytes) => read.parse(bytes));
      line.on('error', () => undefined);
    }).listen(0, '127.0.0.1');
    await once(server, 'listening');
    const url = `mqtt://127.0.0.1:${(server.address() as AddressInfo).port}`;
    await new Promise<void>((connected) => {
      connection = new Connection(
        url,
        { keepalive: KEEPALIVE_S, clean: false, clientId: 'behind', reconnectPeriod: 0 },
        {
          connected: () => connected(),
          arrived: (_packet, held) => {
            if (held && isAcknowledging) held.connection.acknowledge([held.messageId]);
            return true;
          },
          overstayed: () => undefined,
          closed: () => (isClosed = true),
        },
      );
    });
  });
  after(async () => {
    await connection.end();
    socket.destroy();
    server.close();
  });

  const send = (messageId: number) =>
    socket.write(generate({ cmd: 'publish', topic: 't', payload: '{}', qos: 1, messageId, dup: false, retain: false }));

  it('is kept while acknowledgements go out on it', async () => {
    for (let n = 1; n <= 40; n++) {
      send(n);
      await sleep(KEEPALIVE_S * 100);
    }
    expect(isClosed).to.equal(false);
    expect(acks).to.equal(40);
  });

  it('and given up when nothing goes out and no ping is answered', async () => {
    isAcknowledging = false;
    for (let i = 0; !isClosed && i < 100; i++) await sleep(100);
    expect(isClosed).to.equal(true);
  });
});
