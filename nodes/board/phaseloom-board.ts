/** The config node "board": the pages people look at, and the routes behind them. */
import type { Node, NodeAPI, NodeDef } from 'node-red';
import { asError, Trouble } from '../kit/trouble';
import { type BoardSettings, boardOf, pathOf } from './board';
import { endStreams } from './event-routes';
import { BoardServer } from './server';

export = (RED: NodeAPI) => {
  const server = new BoardServer(RED);
  RED.nodes.registerType('phaseloom-board', function (this: Node, def: NodeDef & BoardSettings) {
    RED.nodes.createNode(this, def);
    try {
      if (!RED.httpNode) throw new Trouble('config', 'Node-RED serves no HTTP nodes (httpNodeRoot is false)');
      const stop = server.open(pathOf(def), boardOf(RED, this.id, def));
      this.on('close', () => {
        stop();
        endStreams(this.id);
      });
    } catch (cause) {
      this.error(asError(cause).message);
    }
  });
};
