/** A drawing of a network: its sites with the recorded phases in viewing order, and its open points between them. */
import type { NetworkDocument, OpenPoint, Site } from './network';

interface Spot {
  readonly x: number;
  readonly y: number;
}

const WIDTH = 640;
const CELL_X = 160;
const CELL_Y = 90;
const PER_ROW = Math.floor(WIDTH / CELL_X);
const BOX_X = 120;
const BOX_Y = 44;

/**
 * SVG, on a map when every site has a place and else in rows. Colours are those of the text around it (`currentColor`); phases are
 * letters. @param empty said in place of a letter where no phase is recorded
 */
export function drawNetwork(document: NetworkDocument, empty = '?'): string {
  const sites = document.sites ?? [];
  if (sites.length === 0) return '';
  const { spots, height } = sites.every((s) => s.position) && sites.length > 1 ? onMap(sites) : inRows(sites);
  const phases = new Map(document.terminals.map((t) => [t.id, t.recordedPhase ?? empty]));
  const homes = new Map(sites.flatMap((s) => s.terminals.map((t) => [t, s.id] as const)));
  const points = (document.openPoints ?? []).map((point) => drawnPoint(point, homes, spots));
  const boxes = sites.map((site) => drawnSite(site, spots.get(site.id)!, phases));
  return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${WIDTH} ${height}" role="img" fill="none" stroke="currentColor" font-size="13" text-anchor="middle">${points.join('')}${boxes.join('')}</svg>`;
}

function inRows(sites: readonly Site[]) {
  const spots = new Map(
    sites.map((s, i) => [
      s.id,
      { x: CELL_X * ((i % PER_ROW) + 0.5), y: CELL_Y * (Math.floor(i / PER_ROW) + 0.5) } satisfies Spot,
    ]),
  );
  return { spots, height: CELL_Y * Math.ceil(sites.length / PER_ROW) };
}

/** Degrees of longitude are shortened by the cosine of the latitude, so that directions are right on so small a map. */
function onMap(sites: readonly Site[]) {
  const places = sites.map((s) => s.position!);
  const midLat = places.reduce((sum, p) => sum + p.lat, 0) / places.length;
  const flat = places.map((p) => ({ x: p.lon * Math.cos((midLat * Math.PI) / 180), y: -p.lat }));
  const [left, right] = [Math.min(...flat.map((p) => p.x)), Math.max(...flat.map((p) => p.x))];
  const [top, bottom] = [Math.min(...flat.map((p) => p.y)), Math.max(...flat.map((p) => p.y))];
  const scale = (WIDTH - CELL_X) / Math.max(right - left, (bottom - top) * 1.5, 1e-9);
  const spots = new Map(
    sites.map((s, i) => [
      s.id,
      { x: CELL_X / 2 + (flat[i]!.x - left) * scale, y: CELL_Y / 2 + (flat[i]!.y - top) * scale } satisfies Spot,
    ]),
  );
  return { spots, height: Math.ceil(CELL_Y + (bottom - top) * scale) };
}

function drawnSite(site: Site, { x, y }: Spot, phases: ReadonlyMap<string, string>): string {
  const letters = site.terminals.map((t) => phases.get(t) ?? '').join(' ');
  const title = `${site.id}: ${site.terminals.join(', ')}`;
  return `<g><title>${escaped(title)}</title><rect class="site" x="${px(x - BOX_X / 2)}" y="${px(y - BOX_Y / 2)}" width="${BOX_X}" height="${BOX_Y}" rx="4"/>${text(x, y - 4, shortened(site.id))}${text(x, y + 15, letters, ' font-weight="bold"')}</g>`;
}

/** A line with a gap in the middle, where the open point is named. */
function drawnPoint(point: OpenPoint, homes: ReadonlyMap<string, string>, spots: ReadonlyMap<string, Spot>): string {
  const [from, to] = [point.left, point.right].map((side) => spots.get(homes.get(side[0] ?? '') ?? ''));
  if (!from || !to) return '';
  const middle = { x: (from.x + to.x) / 2, y: (from.y + to.y) / 2 };
  // Between neighbours of one row there is no room beside the line.
  const rise = Math.abs(from.y - to.y) < BOX_Y ? 30 : 6;
  const at = (a: Spot, b: Spot, share: number) => `${px(a.x + (b.x - a.x) * share)} ${px(a.y + (b.y - a.y) * share)}`;
  const title = point.left.map((l, i) => `${l} / ${point.right[i]}`).join(', ');
  return `<g><title>${escaped(`${point.id}: ${title}`)}</title><path d="M${at(from, to, 0)} L${at(from, to, 0.46)} M${at(from, to, 0.54)} L${at(from, to, 1)}" stroke-dasharray="5 3"/>${text(middle.x, middle.y - rise, shortened(point.id), ' font-style="italic"')}</g>`;
}

const text = (x: number, y: number, words: string, more = ''): string =>
  `<text x="${px(x)}" y="${px(y)}" fill="currentColor" stroke="none"${more}>${escaped(words)}</text>`;

const px = (value: number): string => String(Math.round(value * 10) / 10);

/** The end of an id tells more than its beginning. */
const shortened = (id: string): string => (id.length > 17 ? `…${id.slice(-16)}` : id);

const escaped = (words: string): string =>
  words.replace(/[&<>"]/g, (c) => ({ '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' })[c]!);
