/** The config node "frame": what an angle means here, and how sure a decision must be. */
import type { Node, NodeAPI } from 'node-red';
import { type Frame, makeFrame } from '../../lib/frame';
import { configNode, type FrameNode, type ReferenceNode } from '../kit/config-nodes';
import { asError, Trouble } from '../kit/trouble';
import { type FrameDef, referenceIdsOf, settingsOf } from './frame-settings';

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-frame', function (this: Node & FrameNode, def: FrameDef) {
    RED.nodes.createNode(this, def);
    Object.assign(this, read(RED, def));
    if (this.problem) this.error(this.problem);
  });
};

function read(RED: NodeAPI, def: FrameDef): FrameNode {
  try {
    return { frame: frameOf(RED, def), problem: undefined };
  } catch (cause) {
    return { frame: undefined, problem: asError(cause).message };
  }
}

function frameOf(RED: NodeAPI, def: FrameDef): Frame {
  const references = referenceIdsOf(def).map((id) => {
    const node = configNode<ReferenceNode>(RED, id);
    if (!node) throw new Trouble('config', `frame ${def.frameId}: a chosen reference does not exist`);
    if (!node.reference) throw new Trouble('config', node.problem ?? 'a chosen reference does not work');
    return node.reference;
  });
  // A reference that names no phase stands on the zero phase.
  const stated = references.map(({ phase, ...rest }) => (phase === '' ? rest : { phase, ...rest }));
  const ids = references.map((r) => r.id);
  const twice = ids.find((id, i) => ids.indexOf(id) !== i);
  if (twice) throw new Trouble('config', `frame ${def.frameId}: reference ${twice} is chosen twice`);
  return makeFrame({ ...settingsOf(def), references: stated });
}
