/** What the routes of a board reach: the ledger, the desk, and what the records say about the places. */
import type { NodeAPI } from 'node-red';
import type { Frame } from '../../lib/frame';
import type { Network } from '../../lib/network';
import type { Alert } from '../../lib/records';
import { configNode, type FrameNode, type NetworkNode } from '../kit/config-nodes';
import { Trouble } from '../kit/trouble';
import type { Ledger, LedgerNode } from '../ledger/ledger';
import { neighbours } from './neighbours';

export interface BoardSettings {
  /** under Node-RED's HTTP node root */
  readonly path?: string;
  readonly ledger?: string;
  readonly network?: string;
  readonly frame?: string;
}

/** The alert desk as the board sees it. */
export interface Desk {
  /** {action, key, by, reason?, minutes?}; rejects with a Trouble */
  act(request: Readonly<Record<string, unknown>>): Promise<Alert>;
}

export interface Board {
  readonly RED: NodeAPI;
  readonly nodeId: string;
  readonly settings: BoardSettings;
  /** @throws Trouble 'config' when none is chosen */
  ledger(): Promise<Ledger>;
  network(): Network | undefined;
  frame(): Frame | undefined;
  /** the alert desk that works on the same ledger */
  desk(): Desk | undefined;
}

const DEFAULT_PATH = '/phaseloom';

export function boardOf(RED: NodeAPI, nodeId: string, settings: BoardSettings): Board {
  const board: Board = {
    RED,
    nodeId,
    settings,
    ledger: async () => {
      const node = configNode<LedgerNode>(RED, settings.ledger);
      if (!node) throw new Trouble('config', 'no ledger is chosen: the board shows what a ledger holds');
      return node.ready();
    },
    network: () => configNode<NetworkNode>(RED, settings.network)?.network,
    frame: () => configNode<FrameNode>(RED, settings.frame)?.frame,
    desk: () => neighbours<Desk>(board, 'phaseloom-alert-desk', 'act')[0],
  };
  return board;
}

/** @throws Trouble 'config' that says what would be right */
export function pathOf({ path }: BoardSettings): string {
  const given = (path ?? '').trim() || DEFAULT_PATH;
  const cleaned = `/${given.replace(/^\/+|\/+$/g, '')}`;
  if (/^(\/[A-Za-z0-9_-]+)+$/.test(cleaned)) return cleaned;
  throw new Trouble(
    'config',
    `the path of the board is ${JSON.stringify(path)}; right would be letters, digits, - and _ between slashes, such as /phaseloom`,
  );
}
