/** The node "metrics": a message in, the metrics page out. Its module also brings the routes, whether or not a flow has the node. */
import type { Node, NodeAPI, NodeDef } from 'node-red';
import { StatusLight } from '../kit/status';
import { asError } from '../kit/trouble';
import { vitalSigns } from '../kit/vital-signs';
import { health } from './health';
import { metricsPage } from './metrics-page';
import { addRoutes } from './routes';

export = (RED: NodeAPI) => {
  addRoutes(RED);
  RED.nodes.registerType('phaseloom-metrics', function (this: Node, def: NodeDef) {
    RED.nodes.createNode(this, def);
    const light = new StatusLight(this);
    const told = (key: string) => RED._(`phaseloom-metrics.status.${key}`);
    this.on('input', (msg, send, done) => {
      Promise.all([metricsPage(vitalSigns()), health(vitalSigns())]).then(
        ([{ contentType, text }, state]) => {
          if (state.ready) light.show('green', 'dot', told('ready'));
          else light.show('yellow', 'ring', told('notReady'));
          send({ ...msg, payload: text, health: state, headers: { 'content-type': contentType } } as typeof msg);
          done();
        },
        (cause) => {
          light.show('red', 'ring', told('failed'));
          done(asError(cause));
        },
      );
    });
    this.on('close', () => light.close());
  });
};
