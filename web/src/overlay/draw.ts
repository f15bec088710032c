// The overlay for a film: the sentence and the paper strip along the foot of the picture, nothing else. Drawn into any
// canvas of any size; everything around it stays as transparent as it was.
import type { Chart } from '../flight-line/data';
import { readBrush } from '../flight-line/paint/brush';
import type { Pen } from '../flight-line/paint/pen';
import { Scene } from '../flight-line/scene';

/** Shares of the picture's width and height. By eye. */
const SIDE = 0.035;
const FOOT = 0.05;
const TALL = 0.4;
/** Sentence and figures of the strip, of the picture's height. */
const SENTENCE = 0.05;
const NOTE = 0.024;
/** How far the paper covers the film. */
const COVER = 0.92;

/** A picture narrower than this, width to height, is written as if it were as low as its width asks for. By eye. */
const LOW = 1.25;

export interface Room {
  /** Height that sizes are shares of. */
  base: number;
  width: number;
  height: number;
  x: number;
  y: number;
  w: number;
  h: number;
  pad: number;
  sentence: number;
}

export function roomOf(width: number, height: number): Room {
  // Upright films, too: words as tall as the height of one would not fit between its sides.
  const base = Math.min(height, width / LOW);
  const x = Math.round(width * SIDE);
  const h = Math.round(Math.min(height, base * 1.2) * TALL);
  const y = Math.round(height * (1 - FOOT)) - h;
  const pad = Math.round(base * 0.02);
  return { base, width, height, x, y, w: width - 2 * x, h, pad, sentence: Math.round(base * SENTENCE) };
}

export class Overlay {
  private readonly scene: Scene;
  private readonly room: Room;
  private words = '';
  private aside = '';

  /** `strip`: a canvas that stands in the page, so that it has the page's colours and type; it is given its size here. */
  constructor(
    private readonly strip: HTMLCanvasElement,
    width: number,
    height: number,
  ) {
    this.room = roomOf(width, height);
    const { base, w, h, pad, sentence } = this.room;
    strip.style.fontSize = `${(base * NOTE).toFixed(1)}px`;
    strip.style.setProperty('--stroke', (base / 720).toFixed(3));
    this.scene = new Scene(strip, 2);
    this.scene.resize(w - 2 * pad, h - Math.round(sentence * 1.6) - pad, 1);
  }

  /** What is laid out anew a few times a second. */
  set(chart: Chart, pen: Pen, words: string, aside: string): void {
    this.words = words;
    this.aside = aside;
    this.scene.set(chart, pen, { narrow: false, strip: false });
  }

  /** What moves with every frame. */
  draw(ctx: CanvasRenderingContext2D | OffscreenCanvasRenderingContext2D, pen: Pen): void {
    const { base, width, height, x, y, w, h, pad, sentence } = this.room;
    const brush = readBrush(ctx as CanvasRenderingContext2D, this.strip);
    this.scene.draw(pen);
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.clearRect(0, 0, width, height);
    ctx.globalAlpha = COVER;
    ctx.fillStyle = brush.paper;
    ctx.fillRect(x, y, w, h);
    ctx.globalAlpha = 1;
    ctx.fillStyle = brush.ink;
    ctx.fillRect(x, y, w, Math.max(2, Math.round(base / 360)));
    ctx.textAlign = 'left';
    const room = w - 2 * pad - this.asideWidth(ctx, brush.family, base);
    let size = sentence;
    ctx.font = `700 ${size}px ${brush.family}`;
    const wide = ctx.measureText(this.words).width;
    // A longer sentence is written smaller, never cut.
    if (wide > room) size = Math.floor((size * room) / wide);
    ctx.font = `700 ${size}px ${brush.family}`;
    ctx.fillText(this.words, x + pad, y + pad + sentence * 0.9);
    if (this.aside) {
      ctx.textAlign = 'right';
      ctx.font = `400 ${Math.round(base * NOTE)}px ${brush.family}`;
      ctx.fillStyle = brush.inkSoft;
      ctx.fillText(this.aside, x + w - pad, y + pad + sentence * 0.9);
    }
    ctx.drawImage(this.strip, x + pad, y + Math.round(sentence * 1.6));
  }

  private asideWidth(
    ctx: CanvasRenderingContext2D | OffscreenCanvasRenderingContext2D,
    family: string,
    base: number,
  ): number {
    if (!this.aside) return 0;
    ctx.font = `400 ${Math.round(base * NOTE)}px ${family}`;
    return ctx.measureText(this.aside).width + base * 0.03;
  }
}
