/** The config node "ledger": where readings, findings, alerts and deliveries are kept. */
import type { ConnectionOptions } from 'node:tls';
import type { Node, NodeAPI, NodeDef } from 'node-red';
import { asError } from '../kit/trouble';
import { showVitalSigns } from '../kit/vital-signs';
import type { LedgerNode } from './ledger';
import { LedgerKeeper, type LedgerSettings } from './ledger-keeper';
import { ledgerSigns } from './ledger-signs';

interface TlsNode {
  addTLSOptions(options: ConnectionOptions): ConnectionOptions;
}

interface Credentials {
  readonly connection: string;
}

type Settings = NodeDef & LedgerSettings & { readonly tls?: string };

export = (RED: NodeAPI) => {
  /** Certificates stand in core's tls-config node, as they do for every other connection of Node-RED. */
  function tlsOf({ driver, tls }: Settings): ConnectionOptions | undefined {
    if (driver !== 'postgres' || !tls) return undefined;
    const node = RED.nodes.getNode(tls) as unknown as TlsNode | null;
    return node?.addTLSOptions({});
  }

  function LedgerConfig(this: Node<Credentials> & LedgerNode, def: Settings) {
    RED.nodes.createNode(this, def);
    const keeper = new LedgerKeeper(
      def,
      RED.settings.userDir ?? process.cwd(),
      this.credentials?.connection,
      tlsOf(def),
    );
    Object.assign(this, { ready: () => keeper.ready(), use: () => keeper.use(), isShared: def.driver === 'postgres' });
    Object.defineProperty(this, 'ledger', { get: () => keeper.ledger });
    showVitalSigns(this, ledgerSigns(keeper));
    this.on('close', (_removed: boolean, done: () => void) => {
      keeper
        .close()
        .catch((cause) => this.error(asError(cause).message))
        .then(() => done());
    });
  }
  RED.nodes.registerType<Node<Credentials> & LedgerNode, Settings, object, Credentials>(
    'phaseloom-ledger',
    LedgerConfig,
    { credentials: { connection: { type: 'password' } } },
  );
};
