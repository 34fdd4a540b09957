/** The node "ledger query": a question in, records or a file out. */
import type { Node, NodeAPI, NodeDef, NodeMessage } from 'node-red';
import { configNode } from '../kit/config-nodes';
import { Expression } from '../kit/expression';
import { StatusLight } from '../kit/status';
import { asError, Trouble } from '../kit/trouble';
import type { LedgerNode } from '../ledger/ledger';
import { readQuestion } from '../ledger/question';
import { answer, type Piece } from './answer';
import { type QuerySettings, readSettings, type Settings } from './settings';

type Message = NodeMessage & { payload?: unknown; phaseloom?: object };

/** An answer that takes longer is worth a word in the status. */
const SLOW_MS = 300;

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-ledger-query', function (this: Node, def: NodeDef & QuerySettings) {
    RED.nodes.createNode(this, def);
    const light = new StatusLight(this);
    const told = (key: string) => RED._(`phaseloom-ledger-query.status.${key}`);
    this.on('input', (msg, send, done) => {
      const slow = setTimeout(() => light.show('blue', 'dot', told('asking')), SLOW_MS);
      ask(RED, this, def, msg, send).then(
        (records) => {
          clearTimeout(slow);
          light.show('grey', 'dot', `${records} ${told('records')}`);
          done();
        },
        (cause) => {
          clearTimeout(slow);
          light.show('red', 'ring', told('failed'));
          done(asError(cause));
        },
      );
    });
    this.on('close', () => light.close());
  });
};

/** Sends the answer; how many records it had. */
async function ask(
  RED: NodeAPI,
  node: Node,
  def: QuerySettings,
  msg: Message,
  send: (msg: NodeMessage) => void,
): Promise<number> {
  const settings = readSettings(def);
  const ledgerNode = configNode<LedgerNode>(RED, def.ledger);
  if (!ledgerNode) throw new Trouble('config', 'no ledger is chosen');
  const question = readQuestion(settings.what, await evaluated(RED, node, settings, msg), settings.limit);
  let records = 0;
  for await (const piece of answer(await ledgerNode.ready(), question, settings, RED.util.generateId())) {
    records += piece.count;
    send(outgoing(msg, piece));
  }
  return records;
}

async function evaluated(RED: NodeAPI, node: Node, settings: Settings, msg: Message): Promise<unknown> {
  const { query, queryType } = settings;
  try {
    if (queryType === 'jsonata') return await new Expression(RED, node, query).evaluate(msg);
    return await property(RED, node, settings, msg);
  } catch (cause) {
    // JSONata throws objects that are no errors.
    const why = (cause as Error).message || String(cause);
    throw new Trouble('query-unusable', `the query (${queryType} ${query}) cannot be read: ${why}`);
  }
}

function property(RED: NodeAPI, node: Node, { query, queryType }: Settings, msg: Message): Promise<unknown> {
  return new Promise((resolve, reject) => {
    RED.util.evaluateNodeProperty(query, queryType, node, msg, (error, value) =>
      error ? reject(error) : resolve(value),
    );
  });
}

function outgoing(msg: Message, { payload, count, next, parts, marks }: Piece): NodeMessage {
  if (marks) return { ...msg, ...marks, payload, phaseloom: { ...msg.phaseloom, ...marks.phaseloom } } as NodeMessage;
  const phaseloom = { ...msg.phaseloom, count, ...(next === undefined ? {} : { next }) };
  return { ...msg, payload, phaseloom, ...(parts ? { parts } : {}) } as NodeMessage;
}
