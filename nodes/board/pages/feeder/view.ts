/** Which part of the drawing is in sight: world units are pixels at scale 1. */
import type { Box, TreeDrawing } from '../../../../lib/feeder/tree-drawing';

export const COLUMN_PX = 120;
export const LANE_PX = 84;
const LARGEST = 2;
const MARGIN_PX = 24;

export class View {
  x = 0;
  y = 0;
  /** down; across it is never so small that the drawing would not fill the width */
  scale = 1;
  width = 1;
  height = 1;

  constructor(readonly drawing: TreeDrawing) {}

  get across(): number {
    return Math.max(this.scale, Math.min(1, (this.width - 2 * MARGIN_PX) / (this.drawing.columns * COLUMN_PX)));
  }

  /** All of it, never larger than life. */
  get smallest(): number {
    const { columns, lanes } = this.drawing;
    const down = (this.height - 2 * MARGIN_PX) / (lanes * LANE_PX);
    // A long feeder of few lanes is not drawn smaller than its width asks for, unless it is much too long.
    const across = (this.width - 2 * MARGIN_PX) / (columns * COLUMN_PX);
    return Math.max(0.002, Math.min(1, Math.min(down, Math.max(across, 0.12))));
  }

  fit(): void {
    this.scale = this.smallest;
    this.x = -MARGIN_PX / this.across;
    this.y = -LANE_PX / 2 - MARGIN_PX / this.scale;
  }

  pan(dxPx: number, dyPx: number): void {
    this.x -= dxPx / this.across;
    this.y -= dyPx / this.scale;
    this.keepInSight();
  }

  /** The point under the pointer stays there. */
  zoom(factor: number, atX = this.width / 2, atY = this.height / 2): void {
    const [acrossBefore, downBefore] = [this.across, this.scale];
    this.scale = Math.min(LARGEST, Math.max(this.smallest, this.scale * factor));
    this.x += atX / acrossBefore - atX / this.across;
    this.y += atY / downBefore - atY / this.scale;
    this.keepInSight();
  }

  /** Brings a section into the middle if it is not well in sight; zooms in when its letters could not be read. */
  show(column: number, lane: number, closeUp = false): void {
    if (closeUp && this.scale < 0.7) this.scale = 0.8;
    const [sx, sy] = [this.toX(column), this.toY(lane)];
    const edge = Math.min(90, this.width / 5);
    if (!closeUp && sx > edge && sx < this.width - edge && sy > 50 && sy < this.height - 50) return;
    this.x = column * COLUMN_PX - this.width / 2 / this.across;
    this.y = lane * LANE_PX - this.height / 2 / this.scale;
    this.keepInSight();
  }

  toX = (column: number): number => (column * COLUMN_PX - this.x) * this.across;
  toY = (lane: number): number => (lane * LANE_PX - this.y) * this.scale;
  columnAt = (px: number): number => (px / this.across + this.x) / COLUMN_PX;
  laneAt = (px: number): number => (px / this.scale + this.y) / LANE_PX;

  /** A line from the column before reaches in as well. */
  box(): Box {
    return {
      firstColumn: Math.floor(this.columnAt(0)),
      lastColumn: Math.ceil(this.columnAt(this.width)) + 1,
      firstLane: Math.floor(this.laneAt(0)),
      lastLane: Math.ceil(this.laneAt(this.height)),
    };
  }

  /** Some of it stays in sight, however far it is dragged. */
  private keepInSight(): void {
    const { columns, lanes } = this.drawing;
    const [w, h] = [this.width / this.across, this.height / this.scale];
    this.x = Math.min(columns * COLUMN_PX - w / 4, Math.max(-w * 0.75, this.x));
    this.y = Math.min(lanes * LANE_PX - h / 4, Math.max(-h * 0.75, this.y));
  }
}
