/** The pack's config nodes as the other nodes see them, and how to reach one. */
import type { NodeAPI } from 'node-red';
import type { Frame, Reference } from '../../lib/frame';
import type { Network } from '../../lib/network';

/** A config node whose settings do not work says why in `problem`; the nodes that use it show that and refuse each message with it. */
export interface FrameNode {
  readonly frame: Frame | undefined;
  readonly problem: string | undefined;
}

export interface ReferenceNode {
  readonly reference: Reference | undefined;
  readonly problem: string | undefined;
}

export interface NetworkNode {
  readonly network: Network | undefined;
  readonly problem: string | undefined;
}

/** The config node with this id, or undefined when none is chosen. */
export function configNode<T>(RED: NodeAPI, id: string | undefined): T | undefined {
  return id ? ((RED.nodes.getNode(id) as T | null) ?? undefined) : undefined;
}
