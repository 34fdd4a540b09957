/**
 * Readings tried in the dialog of a node: what they would lead to with the settings as they stand there, deployed or not.
 * The words are in the catalogue of the frame, which every such node needs.
 */
import type { Comparison, Identification, Reason, Rotation } from '../../../lib/records';
import { field } from './forms';
import type { EditorNode } from './node';

type Finding = Identification | Rotation | Comparison;
type Answer =
  | { readonly ok: true; readonly findings: readonly Finding[]; readonly waiting: readonly Waiting[] }
  | { readonly ok: false; readonly problem: string };
interface Waiting {
  readonly group: string;
  readonly terminals: readonly string[];
}

// biome-ignore lint/suspicious/noExplicitAny: globals of the editor, without published types
declare const $: any;
// biome-ignore lint/suspicious/noExplicitAny: globals of the editor, without published types
declare const RED: any;

const word = (key: string, values: Readonly<Record<string, unknown>> = {}): string =>
  RED._(`@phaseloom/node-red/phaseloom-frame:phaseloom-frame.trial.${key}`, values);

const language = (): string => RED.i18n.lang();

/** As the language of the editor writes it: with a point, or with a comma. */
const figure = (value: number, digits = 1): string =>
  value.toLocaleString(language(), {
    minimumFractionDigits: digits,
    maximumFractionDigits: digits,
    useGrouping: false,
  });

/** Puts the field, the button and the place for the answer at the end of the dialog. */
export function offerTrial(node: EditorNode): void {
  const form = field(node, 'name').closest('form');
  const id = 'phaseloom-trial-readings';
  form.append(
    $('<h4>').text(word('heading')),
    $('<div class="form-row">').append(
      $('<label class="phaseloom-whole">').attr('for', id).text(word('readings')),
      $('<textarea class="phaseloom-document" rows="5" spellcheck="false">').attr({ id, placeholder: EXAMPLE }),
    ),
    $('<div class="form-row">').append(
      $('<button type="button" class="red-ui-button" id="phaseloom-trial">').text(word('button')),
    ),
    $('<div id="phaseloom-trial-answer" role="status">'),
  );
  $('#phaseloom-trial').on('click', () => ask(node));
}

const EXAMPLE = '{"terminal": "S118/2", "takenAt": "2026-05-04T10:15:30Z", "angleDeg": -118.4, "against": "SUB-1"}';

function ask(node: EditorNode): void {
  const place = $('#phaseloom-trial-answer').empty();
  const settings = asEdited(node);
  const question = { settings, configs: configsOf(settings, node), readings: $('#phaseloom-trial-readings').val() };
  $.ajax({
    url: `phaseloom/trial/${node.type}`,
    type: 'POST',
    contentType: 'application/json',
    data: JSON.stringify(question),
  })
    .done((answer: Answer) => place.empty().append(...told(answer)))
    .fail((answer: { status: number }) => place.empty().append($('<p>').text(failure(answer))));
}

/** Status 0: no answer came at all. */
function failure({ status }: { status: number }): string {
  if (status === 0) return word('unreachable');
  return status === 401 || status === 403 ? word('forbidden') : word('failed', { status });
}

/** The settings as they stand in the dialog. */
function asEdited(node: EditorNode): Record<string, unknown> {
  const settings: Record<string, unknown> = {};
  for (const property of Object.keys(node._def.defaults)) {
    const place = field(node, property);
    if (place.length === 0) settings[property] = node[property];
    else settings[property] = place.is(':checkbox') ? place.prop('checked') : place.val();
    if (settings[property] === '_ADD_') settings[property] = '';
  }
  return settings;
}

/** The config nodes of the settings, and those of theirs, as they stand in the editor. */
function configsOf(settings: Record<string, unknown>, { _def }: Pick<EditorNode, '_def'>): Record<string, unknown> {
  const found: Record<string, unknown> = {};
  for (const [property, { type }] of Object.entries(_def.defaults)) {
    const config = type && settings[property] ? RED.nodes.node(settings[property]) : undefined;
    if (!config) continue;
    const [exported] = RED.nodes.createExportableNodeSet([config]);
    Object.assign(found, { [config.id]: exported }, configsOf(exported, config));
  }
  return found;
}

// biome-ignore lint/suspicious/noExplicitAny: jQuery objects
function told(answer: Answer): any[] {
  if (!answer.ok) return [$('<p class="phaseloom-trial-problem">').text(answer.problem)];
  const waiting = answer.waiting.map(({ group, terminals }) =>
    $('<p>').text(word(terminals.length > 0 ? 'lacking' : 'nothing', { group, terminals: terminals.join(', ') })),
  );
  if (answer.findings.length + waiting.length === 0) return [$('<p>').text(word('none'))];
  return [...answer.findings.map(one), ...waiting];
}

// biome-ignore lint/suspicious/noExplicitAny: a jQuery object
function one(finding: Finding): any {
  const place = $('<section class="phaseloom-trial-finding">');
  place.append($('<h5>').text(`${subject(finding)}: ${verdict(finding)}`));
  place.append($('<p>').text(figures(finding).join('; ')));
  if (finding.reasons.length > 0) place.append($('<ul>').append(...finding.reasons.map(why)));
  return place.append($('<p class="phaseloom-trial-caution">').text(word(`caution.${finding.kind}`)));
}

const subject = (finding: Finding): string => {
  if (finding.kind === 'identification') return finding.terminal;
  return finding.kind === 'rotation' ? finding.site : finding.openPoint;
};

function verdict(finding: Finding): string {
  if (finding.verdict === 'not-proven') return word('not-proven');
  if (finding.kind === 'identification') return word(finding.verdict, { phase: finding.phase });
  if (finding.kind === 'rotation') return word(finding.turns ?? 'not-proven', { sequence: finding.sequence });
  return word(finding.verdict) + (finding.landing ? ` (${word(finding.landing)})` : '');
}

/** The figures behind it, those there are. */
function figures(finding: Finding): string[] {
  const degrees = (key: string, value: number | null | undefined) =>
    value === null || value === undefined ? [] : [word(`figure.${key}`, { value: figure(value) })];
  // Rounded down: nothing is ever 100 % sure.
  const percent = Math.min(99.99, Math.floor(1e4 * finding.probability) / 100);
  // 0 stands for a probability that cannot be told.
  const chance = finding.probability === 0 ? [] : [word('figure.probability', { value: figure(percent, 2) })];
  if (finding.kind === 'identification') {
    const { angleDeg, expectedDeg, residualDeg, sdDeg } = finding;
    const parts = { angle: angleDeg, expected: expectedDeg, residual: residualDeg, sd: sdDeg };
    return [...chance, ...Object.entries(parts).flatMap(([key, value]) => degrees(key, value))];
  }
  if (finding.kind === 'rotation') {
    const angles = finding.anglesDeg.map((angle, i) => `${finding.terminals[i]} ${figure(angle)}°`);
    return [...chance, ...angles];
  }
  const pairs = finding.pairs.map(({ left, right, differenceDeg, sdDeg }) => {
    const doubt = sdDeg === null ? `, ${word('figure.as-read')}` : ` ± ${figure(sdDeg)}°`;
    return `${left} / ${right}: ${figure(differenceDeg)}°${doubt}`;
  });
  const { standingAngleUpperDeg, toleranceDeg } = finding;
  return [...chance, ...degrees('standing', standingAngleUpperDeg), ...degrees('tolerance', toleranceDeg), ...pairs];
}

/** Records speak English. In another language the catalogue says what a code means, and what the record says stands below. */
function why({ code, why, settle }: Reason) {
  const recorded = settle ? `${why}. ${word('settle', { settle })}.` : `${why}.`;
  const said = word(`reason.${code}`);
  if (language().startsWith('en') || said.endsWith(`.${code}`)) return $('<li>').text(recorded);
  const inRecord = word('as-recorded', { text: settle ? `${why}; ${settle}` : why });
  return $('<li>').text(said).append($('<p class="phaseloom-trial-recorded" lang="en">').text(inRecord));
}
