/** What a node that judges readings is given by its config nodes. */
import type { Node, NodeAPI, NodeDef } from 'node-red';
import type { Frame } from '../../lib/frame';
import type { Network } from '../../lib/network';
import { configNode, type FrameNode, type NetworkNode } from './config-nodes';
import type { LedgerHandle } from './kept-readings';
import { StatusLight } from './status';
import { asError, Trouble } from './trouble';

export interface EvidenceDef extends NodeDef {
  frame?: string;
  network?: string;
  ledger?: string;
}

export interface Evidence {
  readonly frame: Frame;
  readonly network: Network | undefined;
  readonly ledger: LedgerHandle | undefined;
}

/** @throws Trouble 'config' that says what is not chosen or does not work */
export function evidenceOf(RED: NodeAPI, def: EvidenceDef): Evidence {
  const frameNode = configNode<FrameNode>(RED, def.frame);
  if (!frameNode) throw new Trouble('config', 'no frame is chosen: it says what an angle means');
  if (!frameNode.frame) throw new Trouble('config', frameNode.problem ?? 'the frame does not work');
  const networkNode = configNode<NetworkNode>(RED, def.network);
  if (def.network && !networkNode) throw new Trouble('config', 'the chosen network does not exist');
  if (networkNode && !networkNode.network) {
    throw new Trouble('config', networkNode.problem ?? 'the network does not work');
  }
  const ledger = configNode<LedgerHandle>(RED, def.ledger);
  if (def.ledger && !ledger) throw new Trouble('config', 'the chosen ledger does not exist');
  return { frame: frameNode.frame, network: networkNode?.network, ledger };
}

/**
 * Starts a node; one that cannot work says so in its status and to every message, and never throws.
 * @param start gets the status light of the node
 */
export function startOrRefuse(RED: NodeAPI, node: Node, start: (light: StatusLight) => void): void {
  const light = new StatusLight(node);
  try {
    start(light);
  } catch (cause) {
    const problem = asError(cause);
    node.error(problem.message);
    light.show('red', 'ring', RED._(`${node.type}.status.config`));
    node.on('input', (_msg, _send, done) => done(problem));
    node.on('close', () => light.close());
  }
}
