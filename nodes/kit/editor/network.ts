/** The dialog of a network: text, tables and drawing of the same thing; files in and out. The runtime reads and writes; this only shows. */
import { field } from './forms';
import { drawTables, type Rows } from './network-tables';
import type { EditorNode } from './node';

interface Answer {
  readonly text: string;
  readonly ok: boolean;
  readonly problems?: readonly string[];
  readonly holds?: Readonly<Record<string, number>>;
  readonly rows?: Rows;
  readonly drawing?: string;
  readonly file?: string;
}

// biome-ignore lint/suspicious/noExplicitAny: globals of the editor, without published types
declare const $: any;

/** Time without typing after which a text is looked at, milliseconds. */
const PAUSE_MS = 400;

export function editNetwork(node: EditorNode): void {
  const text = field(node, 'document');
  let asked = 0;
  const word = (key: string, values = {}) => node._(`phaseloom-network.${key}`, values);
  const say = (words: string) => $('#phaseloom-network-check').text(words);

  /** An answer may come when the dialog is gone. */
  const isClosed = (): boolean => !text[0].isConnected;

  async function ask(more: object): Promise<Answer | undefined> {
    const turn = ++asked;
    const question = { text: text.val(), id: field(node, 'name').val() || undefined, ...more };
    const answer = await post(question);
    if (turn !== asked) return undefined;
    if (!answer && !isClosed()) say(word('check.unreachable'));
    return answer;
  }

  function show(answer: Answer | undefined): void {
    if (!answer || isClosed()) return;
    if (text.val() !== answer.text) text.val(answer.text).trigger('change');
    say(answer.ok ? word('check.ok', answer.holds) : [word('check.problems'), ...(answer.problems ?? [])].join('\n'));
    // The drawing is SVG that the library wrote, with every name escaped.
    if (answer.drawing !== undefined) $('#phaseloom-network-drawing').html(answer.drawing);
    drawTables($('#phaseloom-network-tables')[0], answer.rows, answer.problems ?? [], word, changed);
  }

  const changed = async (rows: Rows) => show(await ask({ rows }));

  async function look(): Promise<void> {
    if (isClosed()) return;
    if (text.val().trim() !== '') return show(await ask({}));
    asked++;
    say(word('check.empty'));
    $('#phaseloom-network-drawing').empty();
    drawTables($('#phaseloom-network-tables')[0], { terminals: [], openPoints: [] }, [], word, changed);
  }

  let timer: ReturnType<typeof setTimeout>;
  text.on('input', () => {
    clearTimeout(timer);
    timer = setTimeout(look, PAUSE_MS);
  });
  $('#phaseloom-network-open').on('click', () => $('#phaseloom-network-chosen').trigger('click'));
  $('#phaseloom-network-chosen').on('change', async function (this: HTMLInputElement) {
    const [file] = this.files ?? [];
    if (file) text.val(await file.text()).trigger('change');
    this.value = '';
    void look();
  });
  for (const as of ['csv', 'geojson'] as const) {
    $(`#phaseloom-network-${as}`).on('click', async () => {
      const answer = await ask({ as });
      if (answer?.file === undefined) show(answer);
      else save(answer.file, `${field(node, 'name').val() || 'network'}.${as}`);
    });
  }
  void look();
}

const post = (question: object): Promise<Answer | undefined> =>
  new Promise((resolve) => {
    $.ajax({
      url: 'phaseloom/network/check',
      type: 'POST',
      contentType: 'application/json',
      data: JSON.stringify(question),
    })
      .done(resolve)
      .fail(() => resolve(undefined));
  });

function save(content: string, name: string): void {
  const link = document.createElement('a');
  link.href = URL.createObjectURL(new Blob([content], { type: 'text/plain' }));
  link.download = name;
  link.click();
  URL.revokeObjectURL(link.href);
}
