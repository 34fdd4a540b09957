/**
 * The phasor diagram as a web component: <phasor-diagram>, its arrows and title given as properties. The SVG carries its own text
 * alternative. It draws what it is given and decides nothing.
 */
import type { HTMLAttributes } from 'preact';
import { type DiagramArrow, type DiagramStyle, phaseStyles, phasorDiagram } from '../../../lib/phasor-diagram';

export const PHASOR_ELEMENT = 'phasor-diagram';

export class PhasorElement extends HTMLElement {
  private given: readonly DiagramArrow[] = [];
  private name = 'Phasor diagram';
  private labels: readonly string[] = ['A', 'B', 'C'];

  set arrows(arrows: readonly DiagramArrow[]) {
    this.given = arrows;
    this.draw();
  }

  get arrows(): readonly DiagramArrow[] {
    return this.given;
  }

  /** what the diagram shows, in words */
  set caption(name: string) {
    this.name = name;
    this.draw();
  }

  get caption(): string {
    return this.name;
  }

  /** labels of the phases, in the order in which they reach their crest */
  set phases(phases: readonly string[]) {
    this.labels = phases;
    this.draw();
  }

  get phases(): readonly string[] {
    return this.labels;
  }

  connectedCallback(): void {
    this.draw();
  }

  private draw(): void {
    if (!this.isConnected) return;
    // The diagram escapes every text it is given.
    this.innerHTML = phasorDiagram(this.given, { title: this.name, paper: PAPER, styles: themed(this.labels) });
  }
}

/** The page may have colours of its own, such as for the dark; else black on white. */
const PAPER = {
  ground: 'var(--phasor-ground, #ffffff)',
  grid: 'var(--phasor-grid, #cccccc)',
  ink: 'var(--phasor-ink, #111111)',
};

const themed = (labels: readonly string[]): Readonly<Record<string, DiagramStyle>> =>
  Object.fromEntries(
    Object.entries(phaseStyles(labels)).map(([label, { colour, dash }], i) => [
      label,
      { colour: `var(--phase-${i}, ${colour})`, dash },
    ]),
  );

if (!customElements.get(PHASOR_ELEMENT)) customElements.define(PHASOR_ELEMENT, PhasorElement);

declare module 'preact' {
  namespace JSX {
    interface IntrinsicElements {
      [PHASOR_ELEMENT]: HTMLAttributes<PhasorElement> & Partial<Pick<PhasorElement, 'arrows' | 'phases' | 'caption'>>;
    }
  }
}
