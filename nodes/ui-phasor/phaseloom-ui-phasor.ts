/**
 * The widget "phasor diagram" of FlowFuse Dashboard 2. A package of its own: that dashboard looks for widgets only in packages named
 * after it, and whoever has no dashboard is spared the node.
 */
import type { Node, NodeAPI, NodeDef } from 'node-red';
import { type Tell, viewOf } from './view';

interface Definition extends NodeDef {
  readonly group: string;
  /** labels of the frame in their order, with commas: they give line style and colour */
  readonly phases?: string;
}

/** What a group of the dashboard offers to a widget. */
interface Group {
  register(node: Node, config: Definition, events: { beforeSend(msg: { payload?: unknown }): unknown }): void;
}

export = (RED: NodeAPI) => {
  const tell: Tell = (key, values) => RED._(`phaseloom-ui-phasor.${key}`, { ...values });
  RED.nodes.registerType('ui-phaseloom-phasor', function (this: Node, def: Definition) {
    RED.nodes.createNode(this, def);
    const group = RED.nodes.getNode(def.group) as unknown as Partial<Group> | null;
    if (!group?.register) {
      const missing = tell('error.noDashboard');
      this.status({ fill: 'red', shape: 'ring', text: tell('status.noDashboard') });
      this.on('input', (_msg, _send, done) => done(new Error(missing)));
      return;
    }
    const phases = (def.phases ?? 'A, B, C').split(',').map((label) => label.trim());
    // What beforeSend throws, the dashboard hands to done.
    group.register(this, def, { beforeSend: (msg) => ({ ...msg, payload: { ...viewOf(msg.payload, tell), phases } }) });
  });
};
