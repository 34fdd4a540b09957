import { EventEmitter } from 'node:events';
import { expect } from 'chai';
import type { Reading } from '../../lib/records';
import { numberOr, oneOf, optionalNumber } from '../../nodes/kit/config-values';
import { Marked, type Ports, type Step, serve } from '../../nodes/kit/serve';
import { StatusLight } from '../../nodes/kit/status';
import { shortCount } from '../../nodes/kit/tally';
import { read } from '../lib/readings';

/** The listener of a node, called as Node-RED calls it. */
function served(each: Step['each']) {
  const node = new EventEmitter();
  serve(node as never, { accepts: ['reading'], each });
  return (msg: object) =>
    new Promise<{ sent: unknown[]; error: (Error & { code?: string }) | undefined; dones: number; isSync: boolean }>(
      (resolve) => {
        const sent: unknown[] = [];
        let dones = 0;
        let isSync = true;
        node.emit(
          'input',
          msg,
          (m: unknown) => sent.push(m),
          (error?: Error) => {
            dones++;
            const wasSync = isSync;
            setTimeout(() => resolve({ sent, error, dones, isSync: wasSync }), 5);
          },
        );
        isSync = false;
      },
    );
}
const [r1, r2, r3] = [1, 2, 3].map((n) => read(`t/${n}`, n)) as [Reading, Reading, Reading];
const through = (record: unknown): Ports => [record as Reading];

describe('taking messages', () => {
  it('one record: sends with all that came, then is done, in the same turn when the step answers at once', async () => {
    const { sent, error, dones, isSync } = await served(through)({ payload: r1, topic: 'x', _msgid: 'm', mine: 1 });
    expect(sent).to.deep.equal([[{ payload: r1, topic: 'x', _msgid: 'm', mine: 1, reading: r1 }]]);
    expect([error, dones, isSync]).to.deep.equal([undefined, 1, true]);
  });

  it('several records on several ports become messages of their own that share nothing by being changed', async () => {
    const { sent } = await served(() => [[r1, new Marked(r2, { fitness: 'f' })], undefined, r3])({
      payload: r1,
      mine: 1,
    });
    const ports = sent as ({ payload: Reading; fitness?: string; mine: number } | null)[][];
    expect(ports.map((p) => p.map((m) => m && [m.payload.id, m.fitness, m.mine]))).to.deep.equal([
      [[r1.id, undefined, 1]],
      [[r2.id, 'f', 1]],
      [null, null, [r3.id, undefined, 1]],
    ]);
  });

  it('nothing to send: nothing is sent', async () => {
    expect((await served(() => [])({ payload: r1 })).sent).to.deep.equal([]);
    expect((await served(() => [[], undefined])({ payload: r1 })).sent).to.deep.equal([]);
  });

  it('a batch: one message a port, with reading, place and marks in step with the records', async () => {
    const { sent, isSync } = await served((record) =>
      record === r2 ? [undefined, record] : [new Marked(record, { fitness: (record as Reading).angleDeg })],
    )({ payload: [r1, r2, r3], topic: 'x', phaseloom: { seq: [7, 8, 9], resent: true } });
    expect(sent).to.deep.equal([
      [
        { topic: 'x', payload: [r1, r3], reading: [r1, r3], fitness: [1, 3], phaseloom: { seq: [7, 9], resent: true } },
        { topic: 'x', payload: [r2], reading: [r2], phaseloom: { seq: [8], resent: true } },
      ],
    ]);
    expect(isSync).to.equal(true);
  });

  it('a batch with steps that answer later keeps its order and is begun as a whole', async () => {
    const begun: string[] = [];
    const wait = [20, 0, 10];
    const { sent, isSync } = await served(async (record) => {
      const i = begun.push((record as Reading).id) - 1;
      await new Promise((r) => setTimeout(r, wait[i]));
      expect(begun).to.have.length(3);
      return [record];
    })({ payload: [r1, r2, r3] });
    expect((sent[0] as { payload: Reading[] }[])[0]!.payload).to.deep.equal([r1, r2, r3]);
    expect(isSync).to.equal(false);
  });

  it('a record that fails is told once by its place, the rest of its batch goes on', async () => {
    for (const later of [false, true]) {
      const { sent, error, dones } = await served((record) => {
        if (record !== r2) return [record];
        if (later) return Promise.reject(new Error('bad luck'));
        throw new Error('bad luck');
      })({ payload: [r1, r2, { kind: 'alert' }, 5, r3] });
      expect((sent[0] as { payload: Reading[] }[])[0]!.payload).to.deep.equal([r1, r3]);
      expect([error!.code, dones]).to.deep.equal(['batch-in-part', 1]);
      expect(error!.message).to.equal(
        '3 of 5 records: [1] bad luck; [2] msg.payload.kind is "alert"; this node takes reading; [3] msg.payload.kind is missing; this node takes reading',
      );
    }
  });

  it('a payload of another kind is refused with what would be right', async () => {
    for (const payload of [undefined, null, 5, {}, { kind: 'alert' }]) {
      const { error, sent } = await served(through)({ payload });
      expect([error!.code, sent.length]).to.deep.equal(['kind-unexpected', 0]);
      expect(error!.message).to.match(/this node takes reading$/);
    }
  });

  it('an empty batch is done without a word', async () => {
    const { sent, error, dones } = await served(through)({ payload: [] });
    expect([sent, error, dones]).to.deep.equal([[], undefined, 1]);
  });
});

describe('the status light', () => {
  it('shows at once, then at most twice a second, only what changed, and at most 20 characters', async () => {
    const shown: unknown[] = [];
    const light = new StatusLight({ status: (s: unknown) => void shown.push(s) } as never);
    let made = 0;
    for (let i = 0; i < 100; i++) light.show('green', 'dot', () => `${++made} and a text that is too long`);
    expect(shown).to.have.length(1);
    await new Promise((r) => setTimeout(r, 700));
    expect(shown).to.have.length(2);
    expect(made).to.equal(2);
    expect((shown[1] as { text: string }).text).to.equal('2 and a text that i…');
    light.close();
    expect(shown.at(-1)).to.deep.equal({});
  });
});

describe('what the editor saved', () => {
  const bounds = { least: 0, most: 10 };
  it('is a number, or empty and takes its default', () => {
    expect([
      numberOr(3, 'n', '', bounds),
      numberOr(3, 'n', undefined, bounds),
      numberOr(3, 'n', ' 4.5 ', bounds),
    ]).to.deep.equal([3, 3, 4.5]);
    expect(optionalNumber('n', '', bounds)).to.equal(undefined);
  });
  it('or is refused by name', () => {
    for (const wrong of ['x', '11', -1, Number.NaN])
      expect(() => numberOr(3, 'n', wrong, bounds)).to.throw(/^n is .*; it must be a number from 0 to 10$/);
    expect(() => oneOf('word', 'c', ['a', 'b'])).to.throw('word is "c"; it must be one of a, b');
    expect(oneOf('word', '', ['a', 'b'])).to.equal('a');
  });
});

describe('short counts', () => {
  it('take at most four characters', () => {
    expect([0, 999, 1000, 9949, 9951, 99_999, 999_999, 1e6, 123e6].map(shortCount)).to.deep.equal([
      '0',
      '999',
      '1.0k',
      '9.9k',
      '9.9k',
      '99k',
      '999k',
      '1.0M',
      '123M',
    ]);
  });
});
