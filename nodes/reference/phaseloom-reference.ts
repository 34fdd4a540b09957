/** The config node "reference": a station, or a proven conductor, that others are read against. */
import type { Node, NodeAPI } from 'node-red';
import type { ReferenceNode } from '../kit/config-nodes';
import { type ReferenceDef, referenceOf } from '../kit/reference-definition';
import { asError } from '../kit/trouble';

export = (RED: NodeAPI) => {
  RED.nodes.registerType('phaseloom-reference', function (this: Node & ReferenceNode, def: ReferenceDef) {
    RED.nodes.createNode(this, def);
    Object.assign(this, read(def));
    if (this.problem) this.error(this.problem);
  });
};

function read(def: ReferenceDef): ReferenceNode {
  try {
    return { reference: referenceOf(def), problem: undefined };
  } catch (cause) {
    return { reference: undefined, problem: asError(cause).message };
  }
}
