/** What the dialogs share. */
import type { EditorNode } from './node';

/** jQuery and the editor's own objects, as far as they are used here. */
// biome-ignore lint/suspicious/noExplicitAny: globals of the editor, without published types
declare const $: any;

/** The field of a property; those of config nodes are called differently. */
// biome-ignore lint/suspicious/noExplicitAny: a jQuery object
export function field(node: EditorNode, property: string): any {
  return $(`#node-${node._def.category === 'config' ? 'config-' : ''}input-${property}`);
}

/** `oneditprepare`, or its beginning: the dialog gets the pack's look, and what counts where a flow leaves settings out is shown. */
export function prepare(this: EditorNode): void {
  field(this, 'name').closest('form').addClass('phaseloom-form');
  showDefaults(this);
}

function showDefaults(node: EditorNode): void {
  for (const [property, { value, type }] of Object.entries(node._def.defaults)) {
    if (node[property] !== undefined || type || Array.isArray(value)) continue;
    const place = field(node, property);
    if (place.is(':checkbox')) place.prop('checked', value === true);
    else place.val(value);
  }
}

/** Shows parts of the dialog by what is chosen in fields, now and whenever one changes. */
export function showWhen(
  node: EditorNode,
  properties: readonly string[],
  shown: (chosen: Readonly<Record<string, string>>) => Readonly<Record<string, boolean>>,
): void {
  const fields = properties.map((p) => field(node, p));
  const show = () => {
    const chosen = Object.fromEntries(properties.map((p, i) => [p, String(fields[i].val())]));
    for (const [part, isShown] of Object.entries(shown(chosen))) $(part).toggle(isShown);
  };
  for (const one of fields) one.on('change', show);
  show();
}

/** The lines of a text that say something. */
export const lines = (text: string): string[] =>
  text
    .split('\n')
    .map((line) => line.trim())
    .filter((line) => line !== '');
