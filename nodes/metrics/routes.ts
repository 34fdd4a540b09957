/** The routes under the admin address of Node-RED; with adminAuth they need the permission phaseloom-metrics.read, which `read` includes. */
import type { NodeAPI } from 'node-red';
import { asError } from '../kit/trouble';
import { vitalSigns } from '../kit/vital-signs';
import { health } from './health';
import { metricsPage } from './metrics-page';

type Answering = {
  status(code: number): Answering;
  type(type: string): Answering;
  set(name: string, value: string): Answering;
  send(body: string): void;
  json(body: object): void;
};

export function addRoutes(RED: NodeAPI): void {
  if (!RED.httpAdmin) return;
  const mayRead = RED.auth.needsPermission('phaseloom-metrics.read');
  const get = (path: string, answer: (response: Answering) => Promise<void>) =>
    RED.httpAdmin.get(path, mayRead, (_request: unknown, response: unknown) => {
      const answering = (response as Answering).set('cache-control', 'no-store');
      answer(answering).catch((cause) =>
        answering
          .status(503)
          .type('text/plain')
          .send(`${asError(cause).message}\n`),
      );
    });
  // Alive is who answers: a process that hangs does not.
  get('/phaseloom/health', async (response) => response.json(await health(vitalSigns())));
  get('/phaseloom/ready', async (response) => {
    const state = await health(vitalSigns());
    response.status(state.ready ? 200 : 503).json(state);
  });
  get('/phaseloom/metrics', async (response) => {
    const { contentType, text } = await metricsPage(vitalSigns());
    response.set('content-type', contentType).send(text);
  });
}
