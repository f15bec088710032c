// What moves with time: the tint of what has passed, the now line, the pen, the hatch of silence.
import type { Frame } from '../frame';
import { hatchSpot, nowSpot } from '../head';
import { dot, line, upright, widthOf, write, type Brush } from './brush';

export interface Pen {
  /** Now, s since liftoff. */
  t: number;
  height: number | null;
  climb: number | null;
  airspeed: number | null;
  /** Since when the paper is hatched, and what is written there. */
  hatchFrom: number | null;
  hatchWords: string;
  /** Whether the station still tells the height where the pen is. */
  told: boolean;
}

/** Under everything: the paper that has passed below the pen, hatched where nothing was heard. */
export function paintPassed(brush: Brush, frame: Frame, pen: Pen): void {
  const { ctx } = brush;
  const { main, strip } = frame.geometry;
  if (!frame.chart.lifted) return;
  const right = frame.chart.down
    ? main.x + main.w
    : Math.min(Math.max(frame.x(pen.t), main.x), main.x + main.w);
  for (const box of strip ? [main, strip] : [main]) {
    ctx.fillStyle = brush.paperPast;
    const solid = pen.hatchFrom === null ? right : Math.min(right, frame.x(pen.hatchFrom));
    ctx.fillRect(box.x, box.y, Math.max(0, solid - box.x), box.h);
    if (pen.hatchFrom !== null && right > solid) hatch(brush, solid, box.y, right - solid, box.h);
  }
}

function hatch(brush: Brush, x: number, y: number, w: number, h: number): void {
  const { ctx } = brush;
  const step = 11 * brush.stroke;
  ctx.save();
  ctx.beginPath();
  ctx.rect(x, y, w, h);
  ctx.clip();
  ctx.beginPath();
  // Anchored to the paper, not to the pen, so that the hatch stands still while the region grows.
  const first = Math.floor((x - h) / step) * step;
  for (let at = first; at < x + w; at += step) {
    ctx.moveTo(at, y + h);
    ctx.lineTo(at + h, y);
  }
  ctx.strokeStyle = brush.rule;
  ctx.lineWidth = 1.5 * brush.stroke;
  ctx.stroke();
  ctx.restore();
}

export function paintPen(brush: Brush, frame: Frame, pen: Pen): void {
  const { main, strip } = frame.geometry;
  if (!frame.chart.lifted || frame.chart.down) return;
  const x = frame.x(pen.t);
  if (x > main.x + main.w) return;
  const plots = strip ? [main, strip] : [main];
  if (pen.hatchFrom !== null) {
    for (const plot of plots) upright(brush, frame.x(pen.hatchFrom), plot, brush.ink, 1.5, [3, 3]);
    hatchWords(brush, frame, pen, x);
  }
  for (const plot of plots) upright(brush, x, plot, brush.ink, 2);
  const now = nowSpot(pen.t, x, frame, (words) => widthOf(brush, words));
  const y = brush.text * 0.95 + now.row * frame.geometry.line;
  const halo = now.row > 0 ? brush.paper : null;
  write(brush, now.words, now.x, y, { color: brush.inkSoft, align: now.align, halo });
  if (pen.height === null) return;
  paintNewest(brush, frame, pen);
  const penY = frame.yHeight(Math.max(0, pen.height));
  dot(brush, x, penY, 8, pen.hatchFrom === null);
  if (pen.told) penWords(brush, frame, x, penY);
}

function hatchWords(brush: Brush, frame: Frame, pen: Pen, x: number): void {
  const from = frame.x(pen.hatchFrom ?? pen.t);
  const spot = hatchSpot(pen.hatchWords, from, x, (words) => widthOf(brush, words, 700));
  const y = brush.text * 0.95 + spot.row * frame.geometry.line;
  write(brush, spot.words, spot.x, y, { weight: 700, align: spot.align, halo: brush.paper });
}

/** From the newest point of the kept layer to where the pen has come since. */
function paintNewest(brush: Brush, frame: Frame, pen: Pen): void {
  const last = frame.chart.past.at(-1);
  if (!last || pen.t <= last.t || pen.t - last.t > 2) return;
  const hollow = pen.hatchFrom !== null;
  const join = (
    from: number | null,
    to: number | null,
    y: (v: number) => number,
    color: string,
    width: number,
    dash: number[],
  ): void => {
    if (from !== null && to !== null)
      line(
        brush,
        [
          [frame.x(last.t), y(from)],
          [frame.x(pen.t), y(to)],
        ],
        color,
        width,
        dash,
      );
  };
  join(last.height, pen.height, frame.yHeight, brush.ink, hollow ? 2.5 : 3.5, hollow ? [9, 6] : []);
  if (!frame.geometry.strip) return;
  join(last.airspeed, pen.airspeed, frame.ySpeed, brush.green, 2.5, hollow ? [1, 5.5] : []);
  join(last.climb, pen.climb, frame.ySpeed, brush.blue, 2.5, hollow ? [9, 6] : []);
}

/** The pen's height, at the side of it that was found free when the frame was laid out. */
function penWords(brush: Brush, frame: Frame, x: number, y: number): void {
  const words = frame.words.find((w) => w.key === 'pen');
  const anchor = frame.penAnchor;
  if (!words || !anchor) return;
  const dx = words.x + words.w / 2 - anchor.x;
  const dy = words.y + words.h * 0.72 - anchor.y;
  write(brush, words.lines[0] ?? '', x + dx, y + dy, {
    align: 'center',
    weight: words.weight,
    size: words.size,
    halo: brush.paper,
  });
}
