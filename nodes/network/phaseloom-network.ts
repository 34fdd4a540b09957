/** The config node "network": sites, terminals and open points as the records have them. */
import type { Node, NodeAPI } from 'node-red';
import type { NetworkNode } from '../kit/config-nodes';
import { type NetworkDef, networkOf } from '../kit/network-definition';
import { offerCheck } from './check-route';

export = (RED: NodeAPI) => {
  offerCheck(RED);
  RED.nodes.registerType('phaseloom-network', function (this: Node & NetworkNode, def: NetworkDef) {
    RED.nodes.createNode(this, def);
    Object.assign(this, networkOf(RED, def));
    if (this.problem) this.error(this.problem);
  });
};
