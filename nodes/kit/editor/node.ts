/** A node as the editor hands it to the functions of its definition. */
export interface EditorNode {
  readonly id: string;
  readonly type: string;
  readonly name?: string;
  readonly _def: EditorDefinition;
  /** a text of the node's catalogue */
  _(key: string, values?: Readonly<Record<string, unknown>>): string;
  [property: string]: unknown;
}

export interface EditorDefinition {
  readonly category: string;
  readonly defaults: Readonly<Record<string, { readonly value?: unknown; readonly type?: string }>>;
}

/**
 * Says what is wrong with a value, or true. The editor takes a text for a reason only from functions that name two arguments;
 * from any other it takes it for "valid".
 */
export type Validator = (this: EditorNode, value: unknown, options: unknown) => true | string;

/** The text of the node's catalogue under `error`. */
export const reason = (node: EditorNode, key: string, values: Readonly<Record<string, unknown>> = {}): string =>
  node._(`${node.type}.error.${key}`, values);
