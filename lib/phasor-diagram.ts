/**
 * The phasor diagram as SVG text: zero to the right, lead counter-clockwise, letters first, then line style, then colour.
 * The arc at the tip spans two standard uncertainties to each side.
 */
import { DEG } from './angle';

export interface DiagramArrow {
  /** what it is called, e.g. a terminal */
  readonly label: string;
  /** phase letter, drawn large at the tip; a question mark when it is not proven */
  readonly letter: string;
  readonly angleDeg: number;
  /** share of the radius, 0 to 1; 1 when left out */
  readonly length?: number;
  /** standard uncertainty, degrees; no arc when left out */
  readonly sdDeg?: number;
}

export interface DiagramStyle {
  readonly colour: string;
  /** SVG stroke-dasharray; empty: solid */
  readonly dash: string;
}

/** Any colours that the place of the drawing understands, also CSS custom properties. */
export interface DiagramPaper {
  readonly ground: string;
  readonly grid: string;
  readonly ink: string;
}

export interface DiagramOptions {
  readonly title: string;
  /** black on white when left out */
  readonly paper?: DiagramPaper;
  /** style of each letter; what is not named is drawn grey and dash-dotted */
  readonly styles?: Readonly<Record<string, DiagramStyle>>;
  /** width and height, user units */
  readonly size?: number;
}

/** Blue, vermillion and bluish green of the Okabe-Ito palette, which colour-blind people tell apart; solid, dashed, dotted. */
export const OKABE_ITO: readonly DiagramStyle[] = Object.freeze([
  Object.freeze({ colour: '#0072B2', dash: '' }),
  Object.freeze({ colour: '#D55E00', dash: '9 4' }),
  Object.freeze({ colour: '#009E73', dash: '2 4' }),
]);
const UNPROVEN: DiagramStyle = Object.freeze({ colour: '#555555', dash: '8 3 2 3' });
const WHITE: DiagramPaper = Object.freeze({ ground: '#ffffff', grid: '#cccccc', ink: '#111111' });
const ARC_SD = 2;

/** Styles for three phase labels in their order. */
export function phaseStyles(phases: readonly string[]): Readonly<Record<string, DiagramStyle>> {
  return Object.fromEntries(phases.map((p, i) => [p, OKABE_ITO[i] ?? UNPROVEN]));
}

/** The diagram as a complete SVG element; its text alternative lists every arrow. */
export function phasorDiagram(arrows: readonly DiagramArrow[], options: DiagramOptions): string {
  const size = options.size ?? 320;
  const radius = size * 0.33;
  const styles = options.styles ?? phaseStyles(['A', 'B', 'C']);
  const paper = options.paper ?? WHITE;
  const told = arrows.map((a) => `${a.label}: ${a.letter} at ${a.angleDeg.toFixed(1)} degrees`).join('; ');
  const parts = arrows.map((a) => arrow(a, styles[a.letter] ?? UNPROVEN, radius, paper));
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="${-size / 2} ${-size / 2} ${size} ${size}" role="img" font-family="sans-serif">`,
    `<title>${escaped(options.title)}</title><desc>${escaped(told)}</desc>`,
    `<rect x="${-size / 2}" y="${-size / 2}" width="${size}" height="${size}" fill="${paper.ground}"/>`,
    ...grid(radius, paper),
    ...parts,
    '</svg>',
  ].join('\n');
}

function grid(radius: number, paper: DiagramPaper): string[] {
  const spokes = [0, 30, 60, 90, 120, 150, 180, 210, 240, 270, 300, 330].map((deg) => {
    const [x, y] = point(deg, radius);
    return `<line x1="0" y1="0" x2="${x}" y2="${y}" stroke="${paper.grid}" stroke-width="1"/>`;
  });
  return [`<circle r="${radius}" fill="none" stroke="${paper.grid}" stroke-width="1"/>`, ...spokes];
}

function arrow(a: DiagramArrow, style: DiagramStyle, radius: number, paper: DiagramPaper): string {
  const r = radius * (a.length ?? 1);
  const [x, y] = point(a.angleDeg, r);
  const [left, right] = [point(a.angleDeg + 4, r * 0.9), point(a.angleDeg - 4, r * 0.9)];
  const [letterX, letterY] = point(a.angleDeg, radius * 1.2);
  // Away from the circle: above the letter in the upper half, below it elsewhere.
  const labelY = letterY < 0 ? letterY - 17 : letterY + 15;
  const stroke = `stroke="${style.colour}" fill="none"`;
  const dash = style.dash ? ` stroke-dasharray="${style.dash}"` : '';
  return [
    `<line x1="0" y1="0" x2="${x}" y2="${y}" ${stroke} stroke-width="3"${dash}/>`,
    `<polygon points="${x},${y} ${left.join(',')} ${right.join(',')}" fill="${style.colour}"/>`,
    a.sdDeg === undefined
      ? ''
      : `<path d="${arc(a.angleDeg, ARC_SD * a.sdDeg, r)}" ${stroke} stroke-width="6" opacity="0.45"/>`,
    `<text x="${letterX}" y="${letterY}" font-size="20" font-weight="bold" text-anchor="middle" dominant-baseline="central" fill="${paper.ink}">${escaped(a.letter)}</text>`,
    `<text x="${letterX}" y="${labelY}" font-size="10" text-anchor="middle" dominant-baseline="central" fill="${paper.ink}">${escaped(a.label)}</text>`,
  ].join('');
}

function arc(midDeg: number, halfDeg: number, r: number): string {
  const half = Math.min(179, halfDeg);
  const [from, to] = [point(midDeg - half, r), point(midDeg + half, r)];
  return `M ${from.join(' ')} A ${r} ${r} 0 ${half > 90 ? 1 : 0} 0 ${to.join(' ')}`;
}

/** SVG's y axis points down. */
function point(deg: number, r: number): readonly [number, number] {
  const rounded = (v: number) => Math.round(v * 100) / 100;
  return [rounded(r * Math.cos(deg * DEG)), rounded(-r * Math.sin(deg * DEG))];
}

const ENTITIES: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
};
const escaped = (text: string): string => text.replace(/[&<>"']/g, (c) => ENTITIES[c]!);
