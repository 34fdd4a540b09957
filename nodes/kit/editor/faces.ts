/** How a node looks in the palette and in a flow. */
import type { EditorNode } from './node';

type Text = (this: EditorNode, index: number) => string;

/** The name, else the first of the properties that says something, else the node's own word. */
export const label = (...properties: readonly string[]): Text =>
  function () {
    const said = [this.name, ...properties.map((p) => this[p])].find((text) => typeof text === 'string' && text !== '');
    return (said as string | undefined) ?? word(this);
  };

export const labelStyle: Text = function () {
  return this.name ? 'node_label_italic' : '';
};

export const paletteLabel: Text = function () {
  return word(this);
};

const word = (node: EditorNode): string => node._(`${node.type}.label.node`);

/** Labels of ports, by their keys in the catalogue under `port`. */
export const ports = (...keys: readonly string[]): Text =>
  function (index) {
    return this._(`${this.type}.port.${keys[index] ?? keys[0]}`);
  };
