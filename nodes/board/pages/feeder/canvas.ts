/** The drawing on its canvas: sizes, pointers and wheel; it paints once a frame, and only when something changed. */
import type { FeederPicture } from '../../../../lib/feeder/picture';
import { LaneIndex, type TreeDrawing } from '../../../../lib/feeder/tree-drawing';
import { type Inks, inksOf, onInks } from './inks';
import type { Marks } from './marks';
import { paint } from './paint';
import { COLUMN_PX, View } from './view';

/** A pointer that moved less than this was a click. */
const CLICK_PX = 5;
/** Beside a section a click still means it. */
const CATCH_PX = 14;

export class FeederCanvas {
  readonly view: View;
  readonly index: LaneIndex;
  private picture: FeederPicture | undefined;
  private marks: Marks | undefined;
  private chosen = -1;
  private inks: Inks;
  private frame = 0;
  private readonly pointers = new Map<number, { x: number; y: number }>();
  private travelled = 0;
  private readonly stops: (() => void)[] = [];
  private readonly context: CanvasRenderingContext2D;

  constructor(
    private readonly canvas: HTMLCanvasElement,
    drawing: TreeDrawing,
    parent: ArrayLike<number>,
    private readonly pick: (section: number) => void,
  ) {
    this.view = new View(drawing);
    this.index = new LaneIndex(drawing, parent);
    this.context = canvas.getContext('2d', { alpha: false })!;
    this.inks = inksOf(canvas.parentElement!);
    this.size();
    this.view.fit();
    const watch = new ResizeObserver(() => this.size());
    watch.observe(canvas);
    this.stops.push(
      () => watch.disconnect(),
      onInks(() => {
        this.inks = inksOf(canvas.parentElement!);
        this.later();
      }),
    );
    this.listen();
  }

  show(picture: FeederPicture, marks: Marks, chosen: number): void {
    this.picture = picture;
    this.marks = marks;
    if (chosen !== this.chosen && chosen > 0) {
      const { column, lane } = this.view.drawing;
      this.view.show(column[chosen]! - 0.5, lane[chosen]!, this.chosen < 0);
    }
    this.chosen = chosen;
    this.later();
  }

  /** Changes the view, then paints. */
  move(change: (view: View) => void): void {
    change(this.view);
    this.later();
  }

  close(): void {
    cancelAnimationFrame(this.frame);
    for (const stop of this.stops) stop();
  }

  private later(): void {
    this.frame ||= requestAnimationFrame(() => {
      this.frame = 0;
      if (!this.picture || !this.marks) return;
      const { picture, marks, index, inks, chosen } = this;
      this.canvas.dataset.scale = this.view.scale.toFixed(4);
      paint(this.context, this.view, { picture, marks, index, inks, chosen });
    });
  }

  private size(): void {
    const { clientWidth, clientHeight } = this.canvas;
    const ratio = devicePixelRatio || 1;
    this.view.width = clientWidth;
    this.view.height = clientHeight;
    this.canvas.width = Math.round(clientWidth * ratio);
    this.canvas.height = Math.round(clientHeight * ratio);
    this.context.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.later();
  }

  private listen(): void {
    this.on('pointerdown', (e) => {
      this.canvas.setPointerCapture(e.pointerId);
      if (this.pointers.size === 0) this.travelled = 0;
      this.pointers.set(e.pointerId, { x: e.offsetX, y: e.offsetY });
    });
    this.on('pointermove', (e) => this.drag(e));
    this.on('pointerup', (e) => {
      const wasOne = this.pointers.size === 1 && this.pointers.has(e.pointerId);
      this.pointers.delete(e.pointerId);
      if (wasOne && this.travelled < CLICK_PX) this.click(e.offsetX, e.offsetY);
    });
    this.on('pointercancel', (e) => this.pointers.delete(e.pointerId));
    const wheel = (e: WheelEvent) => {
      e.preventDefault();
      const lines = e.deltaMode === 1 ? 16 : 1;
      this.move((v) => v.zoom(Math.exp(-0.0016 * lines * e.deltaY), e.offsetX, e.offsetY));
    };
    this.canvas.addEventListener('wheel', wheel, { passive: false });
    this.stops.push(() => this.canvas.removeEventListener('wheel', wheel));
  }

  private on<K extends 'pointerdown' | 'pointermove' | 'pointerup' | 'pointercancel'>(
    type: K,
    take: (e: PointerEvent) => void,
  ): void {
    this.canvas.addEventListener(type, take);
    this.stops.push(() => this.canvas.removeEventListener(type, take));
  }

  /** One pointer drags; two stretch about the point between them. */
  private drag(e: PointerEvent): void {
    const was = this.pointers.get(e.pointerId);
    if (!was) return;
    const now = { x: e.offsetX, y: e.offsetY };
    const other = [...this.pointers].find(([id]) => id !== e.pointerId)?.[1];
    this.pointers.set(e.pointerId, now);
    this.travelled += Math.hypot(now.x - was.x, now.y - was.y);
    const share = other ? 0.5 : 1;
    this.view.pan(share * (now.x - was.x), share * (now.y - was.y));
    if (other) {
      const apart = (p: { x: number; y: number }) => Math.max(10, Math.hypot(p.x - other.x, p.y - other.y));
      this.view.zoom(apart(now) / apart(was), (now.x + other.x) / 2, (now.y + other.y) / 2);
    }
    this.later();
  }

  private click(x: number, y: number): void {
    const column = this.view.columnAt(x);
    const v = this.index.nearest(Math.ceil(column), Math.round(this.view.laneAt(y)));
    const reach = Math.max(1, CATCH_PX / (this.view.across * COLUMN_PX));
    if (v > 0 && Math.abs(this.view.drawing.column[v]! - 0.5 - column) <= reach + 0.5) this.pick(v);
  }
}
