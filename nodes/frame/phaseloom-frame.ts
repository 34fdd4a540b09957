/** The config node "frame": what an angle means here, and how sure a decision must be. */
import type { Node, NodeAPI } from 'node-red';
import type { Reference } from '../../lib/frame';
import { configNode, type FrameNode, type ReferenceNode } from '../kit/config-nodes';
import { type FrameDef, frameOf, referenceIdsOf } from '../kit/frame-definition';
import { asError, Trouble } from '../kit/trouble';

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-frame', function (this: Node & FrameNode, def: FrameDef) {
    RED.nodes.createNode(this, def);
    Object.assign(this, read(RED, def));
    if (this.problem) this.error(this.problem);
  });
};

function read(RED: NodeAPI, def: FrameDef): FrameNode {
  try {
    return { frame: frameOf(def, referencesOf(RED, def)), problem: undefined };
  } catch (cause) {
    return { frame: undefined, problem: asError(cause).message };
  }
}

function referencesOf(RED: NodeAPI, def: FrameDef): Reference[] {
  return referenceIdsOf(def).map((id) => {
    const node = configNode<ReferenceNode>(RED, id);
    if (!node) throw new Trouble('config', `frame ${def.frameId}: a chosen reference does not exist`);
    if (!node.reference) throw new Trouble('config', node.problem ?? 'a chosen reference does not work');
    return node.reference;
  });
}
