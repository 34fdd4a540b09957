/** Paints what is in sight of a feeder: from afar one line a section, nearer its conductors by line style, near by their letters. */
import type { FeederPicture } from '../../../../lib/feeder/picture';
import type { LaneIndex } from '../../../../lib/feeder/tree-drawing';
import { OKABE_ITO } from '../../../../lib/phasor-diagram';
import { OFFERED, probability } from './answers';
import type { Inks } from './inks';
import { ACCEPTED, CONFLICT, DIFFERS, DOUBT, type Marks, MEASURED, SUSPECT } from './marks';
import { LANE_PX, type View } from './view';

export interface Scene {
  readonly picture: FeederPicture;
  readonly index: LaneIndex;
  readonly marks: Marks;
  readonly inks: Inks;
  readonly chosen: number;
}

/** From this scale on conductors are drawn apart, and from that on with letters. */
const APART = 0.2;
const LETTERS = 0.6;
/** between neighbouring conductors at scale 1 */
const SPREAD_PX = 15;

const DASHES = OKABE_ITO.map(({ dash }) => dash.split(' ').filter(Boolean).map(Number));

export function paint(context: CanvasRenderingContext2D, view: View, scene: Scene): void {
  const { inks, index } = scene;
  context.fillStyle = inks.sheet;
  context.fillRect(0, 0, view.width, view.height);
  const seen: number[] = [];
  index.each(view.box(), (v) => seen.push(v));
  paintSuspects(context, view, scene, seen);
  paintDrops(context, view, scene);
  if (view.scale < APART) paintSections(context, view, scene, seen);
  else paintConductors(context, view, scene, seen);
  paintPlaces(context, view, scene, seen);
  if (view.scale >= LETTERS) paintLetters(context, view, scene, seen);
  paintChosen(context, view, scene);
}

/** Where a crossing is suspected a band lies under the line, with a broken edge. */
function paintSuspects(context: CanvasRenderingContext2D, view: View, scene: Scene, seen: readonly number[]): void {
  const { marks, inks, index } = scene;
  const high = Math.max(5, 3.4 * SPREAD_PX * view.scale);
  context.beginPath();
  for (const v of seen) {
    if (!(marks.bits[v]! & SUSPECT)) continue;
    const { column, lane } = index.drawing;
    const [from, upTo] = [view.toX(column[v]! - 1), view.toX(column[v]!)];
    context.rect(from + 1, view.toY(lane[v]!) - high / 2, Math.max(3, upTo - from - 2), high);
  }
  context.fillStyle = inks.chosen;
  context.fill();
  context.setLineDash([3, 3]);
  context.lineWidth = 1.5;
  context.strokeStyle = inks.call;
  context.stroke();
  context.setLineDash([]);
}

/** The lines that come down to where a lane begins. */
function paintDrops(context: CanvasRenderingContext2D, view: View, { index, inks }: Scene): void {
  context.beginPath();
  index.eachDrop(view.box(), (column, from, upTo) => {
    const x = view.toX(column);
    context.moveTo(x, Math.max(-10, view.toY(from)));
    context.lineTo(x, Math.min(view.height + 10, view.toY(upTo)));
  });
  context.strokeStyle = inks.edge;
  context.lineWidth = view.scale < APART ? Math.min(1, Math.max(0.5, (LANE_PX * view.scale) / 4)) : 2;
  context.stroke();
}

/** From afar: a plain line; heavy where the record differs, thin where nothing is proven. */
function paintSections(context: CanvasRenderingContext2D, view: View, scene: Scene, seen: readonly number[]): void {
  const { marks, inks, index } = scene;
  const { column, lane } = index.drawing;
  const room = LANE_PX * view.scale;
  const layers = [
    {
      fits: (b: number) => (b & (DIFFERS | DOUBT)) === DOUBT,
      width: Math.min(1, Math.max(0.6, room / 4)),
      ink: inks.quiet,
    },
    { fits: (b: number) => !(b & (DIFFERS | DOUBT)), width: Math.min(2, Math.max(0.8, room / 2)), ink: inks.ink },
    { fits: (b: number) => (b & DIFFERS) !== 0, width: Math.min(4, Math.max(2.5, room)), ink: inks.call },
  ];
  for (const { fits, width, ink } of layers) {
    context.beginPath();
    for (const v of seen) {
      if (v === 0 || !fits(marks.bits[v]!)) continue;
      const y = view.toY(lane[v]!);
      context.moveTo(view.toX(column[v]! - 1), y);
      context.lineTo(view.toX(column[v]!), y);
    }
    context.strokeStyle = ink;
    context.lineWidth = width;
    context.stroke();
  }
}

/** Each conductor where its phase is proven in its phase's style; otherwise thin and grey. */
function paintConductors(context: CanvasRenderingContext2D, view: View, scene: Scene, seen: readonly number[]): void {
  const { picture, inks, index } = scene;
  const { column, lane } = index.drawing;
  const spread = SPREAD_PX * view.scale;
  const dash = Math.min(1, Math.max(0.5, view.scale));
  for (let style = 0; style < 4; style++) {
    context.beginPath();
    for (const v of seen) {
      if (v === 0) continue;
      const y = view.toY(lane[v]!);
      for (let j = 0; j < 3; j++) {
        const i = 3 * v + j;
        if (picture.likeliest[i]! < 0) continue;
        const drawn = picture.probability[i]! < OFFERED ? 3 : picture.likeliest[i]!;
        if (drawn !== style) continue;
        context.moveTo(view.toX(column[v]! - 1), y + (j - 1) * spread);
        context.lineTo(view.toX(column[v]!), y + (j - 1) * spread);
      }
    }
    context.strokeStyle = style === 3 ? inks.quiet : inks.phases[style]!;
    context.lineWidth = style === 3 ? 1 : Math.max(1.5, 3 * view.scale);
    context.setLineDash(style === 3 ? [] : DASHES[style]!.map((d) => d * dash));
    context.stroke();
  }
  context.setLineDash([]);
}

/** A dot where something was read, a ring elsewhere, a number where to read next, and a sign where something is wrong. */
function paintPlaces(context: CanvasRenderingContext2D, view: View, scene: Scene, seen: readonly number[]): void {
  const { picture, marks, inks, index } = scene;
  const { column, lane } = index.drawing;
  const near = view.scale >= APART;
  const r = near ? Math.max(2.5, 5 * view.scale) : Math.min(2, 0.4 * LANE_PX * view.scale);
  const dots = (isRead: boolean) => {
    context.beginPath();
    for (const v of seen) {
      if (((marks.bits[v]! & MEASURED) !== 0) !== isRead || (v > 0 && !isRead && !near)) continue;
      const y = view.toY(lane[v]!) + (near ? middleOf(picture, v) * SPREAD_PX * view.scale : 0);
      const x = view.toX(column[v]!);
      context.moveTo(x + r, y);
      context.arc(x, y, r, 0, 7);
    }
  };
  dots(false);
  context.fillStyle = inks.sheet;
  context.fill();
  context.strokeStyle = inks.edge;
  context.lineWidth = 1;
  context.stroke();
  dots(true);
  context.fillStyle = inks.ink;
  context.fill();
  paintSigns(context, view, scene, seen);
}

/** Where the middle of the conductors that a section has lies, in spreads from the middle of its lane. */
function middleOf({ likeliest }: FeederPicture, v: number): number {
  const present = [0, 1, 2].filter((j) => v > 0 && likeliest[3 * v + j]! >= 0);
  return present.length === 0 ? 0 : (present[0]! + present.at(-1)!) / 2 - 1;
}

function paintSigns(context: CanvasRenderingContext2D, view: View, scene: Scene, seen: readonly number[]): void {
  const { marks, inks, index } = scene;
  const { column, lane } = index.drawing;
  const tag = (x: number, y: number, text: string, edge: string) => {
    const w = 10 + 7 * text.length;
    context.fillStyle = inks.sheet;
    context.strokeStyle = edge;
    context.lineWidth = 2;
    context.fillRect(x - w / 2, y - 9, w, 18);
    context.strokeRect(x - w / 2, y - 9, w, 18);
    context.fillStyle = inks.ink;
    context.fillText(text, x, y + 0.5);
  };
  context.font = '700 12px system-ui, sans-serif';
  context.textAlign = 'center';
  context.textBaseline = 'middle';
  const lift = view.scale >= APART ? 1.15 * SPREAD_PX * view.scale + 11 : 0;
  for (const v of seen) {
    const x = view.toX(column[v]!);
    const y = view.toY(lane[v]!) - lift;
    const bits = marks.bits[v]!;
    if (view.scale >= APART && bits & DIFFERS) tag(x - 14, y, '≠', inks.call);
    if (view.scale >= APART && bits & ACCEPTED) tag(x - 14, y, '✓', inks.edge);
    if (bits & CONFLICT) tag(x + 14, y, '!', inks.call);
    const rank = marks.next.get(v);
    if (rank !== undefined) tag(x - 14, y + 2 * lift, String(rank), inks.accent);
  }
}

function paintLetters(context: CanvasRenderingContext2D, view: View, scene: Scene, seen: readonly number[]): void {
  const { picture, inks, index } = scene;
  const { column, lane } = index.drawing;
  const spread = SPREAD_PX * view.scale;
  context.textBaseline = 'middle';
  context.textAlign = 'left';
  const size = Math.min(14, Math.max(10, 13 * view.scale));
  const [bold, plain] = [`700 ${size}px system-ui, sans-serif`, `${size * 0.8}px system-ui, sans-serif`];
  for (const v of seen) {
    if (v === 0) continue;
    const [x, y] = [view.toX(column[v]! - 1) + 0.16 * (view.toX(1) - view.toX(0)), view.toY(lane[v]!)];
    for (let j = 0; j < 3; j++) {
      const i = 3 * v + j;
      const phase = picture.likeliest[i]!;
      if (phase < 0) continue;
      const p = picture.probability[i]!;
      const letter = `${picture.phases[phase]}${p < OFFERED ? '?' : ''}`;
      const cy = y + (j - 1) * spread;
      context.fillStyle = inks.sheet;
      context.fillRect(x - 2, cy - size / 2, 4.9 * size, size);
      context.fillStyle = inks.ink;
      context.font = bold;
      context.fillText(letter, x, cy + 0.5);
      context.fillStyle = inks.quiet;
      context.font = plain;
      context.fillText(probability(p), x + 1.5 * size, cy + 0.5);
    }
    context.fillStyle = inks.quiet;
    context.fillText(shorten(picture.ids[v]!), x, y + (LANE_PX / 2 - 7) * view.scale);
  }
}

const shorten = (id: string): string => (id.length > 14 ? `…${id.slice(-13)}` : id);

function paintChosen(context: CanvasRenderingContext2D, view: View, { chosen, index, inks }: Scene): void {
  if (chosen < 0) return;
  const { column, lane } = index.drawing;
  const high = Math.max(14, 3.8 * SPREAD_PX * view.scale);
  const from = view.toX(column[chosen]! - 1);
  context.strokeStyle = inks.accent;
  context.lineWidth = 3;
  const wide = Math.max(14, view.toX(column[chosen]!) - from);
  context.strokeRect(from, view.toY(lane[chosen]!) - high / 2, wide, high);
}
