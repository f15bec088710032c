// The canvas and its two kept layers. What is ahead and what has passed are painted a few times a second; each drawn
// frame only lays them together and adds the pen, which costs a fraction of a millisecond. Drawn by hand instead of
// with a chart library: the broken time scale, flags in rows, hatch, bands and words with an edge are all of it.
import type { Chart } from './data';
import { frameOf, freshMemory, type Frame, type Measure, type Memory } from './frame';
import { font, readBrush, type Brush } from './paint/brush';
import { paintFlags, paintMarks, paintWords } from './paint/hangings';
import { paintAhead, paintApogee, paintHindsight, paintPast } from './paint/lines';
import { paintPaper } from './paint/paper';
import { paintPassed, paintPen, type Pen } from './paint/pen';

interface Layer {
  canvas: HTMLCanvasElement;
  ctx: CanvasRenderingContext2D;
}

function layer(canvas = document.createElement('canvas')): Layer {
  const ctx = canvas.getContext('2d');
  if (!ctx) throw new Error('This browser gives no drawing surface.');
  return { canvas, ctx };
}

export class Scene {
  frame: Frame | null = null;
  private readonly front: Layer;
  private readonly paper = layer();
  private readonly ahead = layer();
  private readonly facts = layer();
  private readonly memory: Memory;
  private brush: Brush;
  private width = 0;
  private height = 0;
  private ratio = 1;

  /** `rows`: of flags, that are kept free at least. */
  constructor(canvas: HTMLCanvasElement, rows = 3) {
    this.memory = freshMemory(rows);
    this.front = layer(canvas);
    this.brush = readBrush(this.front.ctx, canvas);
  }

  /** Reads colours and type again, after a change of theme or of type size. */
  restyle(): void {
    this.brush = readBrush(this.front.ctx, this.front.canvas);
    this.memory.places.clear();
  }

  resize(width: number, height: number, ratio: number): void {
    if (width === this.width && height === this.height && ratio === this.ratio) return;
    [this.width, this.height, this.ratio] = [width, height, ratio];
    for (const { canvas } of [this.front, this.paper, this.ahead, this.facts]) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    Object.assign(this.memory, { places: new Map(), hung: new Map(), rows: this.memory.least, scale: null });
    this.restyle();
  }

  /** Lays a chart out and paints the kept layers. */
  set(chart: Chart, pen: Pen, options: { narrow: boolean; strip: boolean }): void {
    if (this.width < 40 || this.height < 40) return;
    const measure: Measure = (words, weight, size) => {
      this.front.ctx.font = font(this.brush, weight, size);
      return this.front.ctx.measureText(words).width;
    };
    const sheet = {
      width: this.width,
      height: this.height,
      text: this.brush.text,
      nowRel: pen.t,
      hatchFrom: pen.hatchFrom,
      hatchWords: pen.hatchWords,
      penHeight: chart.lifted && !chart.down ? pen.height : null,
      ...options,
    };
    const frame = frameOf(chart, sheet, this.memory, measure);
    this.frame = frame;
    this.on(this.paper, (brush) => paintPaper(brush, frame));
    this.on(this.ahead, (brush) => paintAhead(brush, frame));
    this.on(this.facts, (brush) => {
      paintPast(brush, frame);
      paintHindsight(brush, frame);
      paintApogee(brush, frame);
      paintFlags(brush, frame);
      paintMarks(brush, frame);
      paintWords(brush, frame);
    });
    this.draw(pen);
  }

  /** Lays the layers together for the pen where it is now. */
  draw(pen: Pen): void {
    const { frame } = this;
    if (!frame) return;
    this.on(this.front, (brush) => {
      paintPassed(brush, frame, pen);
      this.lay(this.paper, 0);
      this.lay(this.ahead, frame.chart.lifted && !frame.chart.down ? frame.x(pen.t) : 0);
      this.lay(this.facts, 0);
      paintPen(brush, frame, pen);
    });
  }

  private on({ canvas, ctx }: Layer, paint: (brush: Brush) => void): void {
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.clearRect(0, 0, canvas.width, canvas.height);
    ctx.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    paint({ ...this.brush, ctx });
  }

  /** Copies a layer, from `left` to the right edge. */
  private lay({ canvas }: Layer, left: number): void {
    const { ctx } = this.front;
    const from = Math.min(canvas.width, Math.max(0, Math.round(left * this.ratio)));
    if (from >= canvas.width || canvas.height === 0) return;
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.drawImage(
      canvas,
      from,
      0,
      canvas.width - from,
      canvas.height,
      from,
      0,
      canvas.width - from,
      canvas.height,
    );
    ctx.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
  }
}
