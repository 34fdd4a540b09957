/** The two tables of a network as fields to type in; a row that something is wrong with says what. */
export type Row = Readonly<Record<string, string>>;
export interface Rows {
  readonly terminals: readonly Row[];
  readonly openPoints: readonly Row[];
}
type Kind = keyof Rows;
type Word = (key: string, values?: object) => string;

const COLUMNS: Readonly<Record<Kind, readonly string[]>> = {
  terminals: ['id', 'site', 'position', 'viewing', 'recordedPhase', 'connection', 'nominalV', 'path', 'lat', 'lon'],
  openPoints: ['openPoint', 'left', 'right', 'toleranceDeg', 'proofTerminal'],
};

/** What may be chosen; the first is left empty. */
const CHOICES: Readonly<Record<string, readonly string[]>> = {
  viewing: ['', 'left-to-right', 'road-to-field', 'top-to-bottom', 'near-to-far'],
  connection: ['', 'phase-neutral', 'phase-neutral-reversed', 'phase-phase', 'phase-phase-reversed'],
};

/** @param changed told of all rows when a field was left with something else in it */
export function drawTables(
  place: HTMLElement,
  rows: Rows | undefined,
  problems: readonly string[],
  word: Word,
  changed: (rows: Rows) => void,
): void {
  // A field that is being typed in stays the one it is.
  const focused = document.activeElement?.getAttribute('data-cell');
  place.replaceChildren(...(rows ? (['terminals', 'openPoints'] as const).flatMap(table) : []));
  if (focused) place.querySelector<HTMLElement>(`[data-cell="${focused}"]`)?.focus();

  function table(kind: Kind): HTMLElement[] {
    const columns = COLUMNS[kind];
    const head = element(
      'tr',
      {},
      ...['', ...columns].map((c) => element('th', { scope: 'col' }, c && word(`column.${c}`))),
    );
    const body = rows![kind].map((row, i) => line(kind, row, i));
    const add = button(word('button.row'), () => changed({ ...rows!, [kind]: [...rows![kind], {}] }));
    const grid = element('table', {}, element('thead', {}, head), element('tbody', {}, ...body));
    return [element('h4', {}, word(`heading.${kind}`)), element('div', { class: 'phaseloom-network-grid' }, grid), add];
  }

  function line(kind: Kind, row: Row, i: number): HTMLElement {
    const wrong = problems.filter((p) => row.where && (p.startsWith(`${row.where}:`) || p.startsWith(`${row.where},`)));
    const replaced = (next: readonly Row[]) => changed({ ...rows!, [kind]: next });
    const cells = COLUMNS[kind].map((column) => {
      const label = `${word(`column.${column}`)}, ${row.where ?? i + 1}`;
      const input = cell(
        column,
        row[column] ?? '',
        label,
        wrong.some((p) => p.includes(`${column} `)),
      );
      input.setAttribute('data-cell', `${kind}-${i}-${column}`);
      input.addEventListener('change', () =>
        replaced(rows![kind].map((r, at) => (at === i ? { ...r, [column]: input.value } : r))),
      );
      return element('td', {}, input);
    });
    const remove = button(
      '×',
      () => replaced(rows![kind].filter((_, at) => at !== i)),
      word('button.remove', { row: i + 1 }),
    );
    const mark =
      wrong.length > 0
        ? element('span', { title: wrong.join('\n'), role: 'img', 'aria-label': wrong.join('; ') }, '⚠')
        : '';
    const number = element('th', { scope: 'row' }, row.where?.replace(/\D+/g, '') ?? '', mark);
    return element('tr', {}, number, ...cells, element('td', {}, remove));
  }
}

function cell(column: string, value: string, label: string, isWrong: boolean): HTMLInputElement | HTMLSelectElement {
  const attributes = { 'aria-label': label, ...(isWrong ? { 'aria-invalid': 'true', class: 'input-error' } : {}) };
  const choices = CHOICES[column];
  if (!choices) return element('input', { type: 'text', value, ...attributes }) as HTMLInputElement;
  const words = choices.includes(value) ? choices : [...choices, value];
  const options = words.map((w) => element('option', { value: w, ...(w === value ? { selected: '' } : {}) }, w));
  return element('select', attributes, ...options) as HTMLSelectElement;
}

function button(words: string, act: () => void, label = words): HTMLElement {
  const made = element(
    'button',
    { type: 'button', class: 'red-ui-button red-ui-button-small', 'aria-label': label },
    words,
  );
  made.addEventListener('click', act);
  return made;
}

function element(
  name: string,
  attributes: Readonly<Record<string, string>>,
  ...children: (Node | string)[]
): HTMLElement {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}
