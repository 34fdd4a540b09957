/** The config node "ledger": where readings, findings, alerts and deliveries are kept. */
import type { Node, NodeAPI, NodeDef } from 'node-red';
import { asError } from '../kit/trouble';
import { showVitalSigns } from '../kit/vital-signs';
import type { LedgerNode } from './ledger';
import { LedgerKeeper, type LedgerSettings } from './ledger-keeper';
import { ledgerSigns } from './ledger-signs';

interface Credentials {
  readonly connection: string;
}

export = (RED: NodeAPI) => {
  function LedgerConfig(this: Node<Credentials> & LedgerNode, def: NodeDef & LedgerSettings) {
    RED.nodes.createNode(this, def);
    const keeper = new LedgerKeeper(def, RED.settings.userDir ?? process.cwd(), this.credentials?.connection);
    Object.assign(this, { ready: () => keeper.ready(), isShared: def.driver === 'postgres' });
    Object.defineProperty(this, 'ledger', { get: () => keeper.ledger });
    showVitalSigns(this, ledgerSigns(keeper));
    this.on('close', (_removed: boolean, done: () => void) => {
      keeper
        .close()
        .catch((cause) => this.error(asError(cause).message))
        .then(() => done());
    });
  }
  RED.nodes.registerType<Node<Credentials> & LedgerNode, NodeDef & LedgerSettings, object, Credentials>(
    'phaseloom-ledger',
    LedgerConfig,
    { credentials: { connection: { type: 'password' } } },
  );
};
