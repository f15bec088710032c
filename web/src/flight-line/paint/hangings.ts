// What hangs below the axis (flags) and what stands in the second strip (limits of cues), then all the words.
import type { FlagBox } from '../flags';
import type { Frame } from '../frame';
import { line, octagon, triangle, write, type Brush } from './brush';

export function paintFlags(brush: Brush, frame: Frame): void {
  const { main, rowHeight } = frame.geometry;
  const bottom = main.y + main.h;
  const base = (flag: FlagBox): number => bottom + (flag.row + 1) * rowHeight;
  for (const flag of frame.flags) {
    const end = base(flag);
    line(
      brush,
      [
        [flag.x, bottom - 6],
        [flag.x, end],
      ],
      brush.ink,
      1.5,
      flag.happened ? [] : [3, 2.5],
    );
  }
  for (const flag of frame.flags) pennant(brush, flag, base(flag));
}

function pennant(brush: Brush, flag: FlagBox, end: number): void {
  const { ctx, text } = brush;
  const side = flag.left ? -1 : 1;
  const tall = text * 0.65;
  const long = text * 0.8;
  ctx.beginPath();
  ctx.moveTo(flag.x, end - tall);
  ctx.lineTo(flag.x + side * long, end - tall / 2);
  ctx.lineTo(flag.x, end);
  ctx.closePath();
  ctx.fillStyle = flag.happened ? brush.ink : brush.paper;
  ctx.fill();
  ctx.lineWidth = 1.5 * brush.stroke;
  ctx.lineJoin = 'round';
  ctx.strokeStyle = brush.ink;
  ctx.stroke();
  let x = flag.x + side * text * 1.15;
  if (flag.look) {
    const shape = flag.act ? octagon : triangle;
    shape(brush, x + side * text * 0.5, end - text * 0.22, text * 0.52);
    x += side * text * 1.3;
  }
  write(brush, flag.words, x, end, {
    align: flag.left ? 'right' : 'left',
    weight: flag.look ? 700 : 400,
    color: flag.happened || flag.look ? brush.ink : brush.inkSoft,
    halo: brush.paper,
  });
}

export function paintMarks(brush: Brush, frame: Frame): void {
  if (!frame.geometry.strip) return;
  for (const mark of frame.chart.marks) {
    const x = frame.x(mark.t);
    const limit = frame.ySpeed(mark.limit);
    const bar = 9 * brush.stroke;
    line(
      brush,
      [
        [x - bar, limit],
        [x + bar, limit],
      ],
      brush.ink,
      2.5,
    );
    if (!mark.over) continue;
    const at = frame.ySpeed(mark.airspeed);
    line(
      brush,
      [
        [x, at],
        [x, limit],
      ],
      brush.ink,
      1.5,
    );
    triangle(brush, x, at, brush.text * 0.55);
  }
}

/** All words but the pen's own, which move with it. */
export function paintWords(brush: Brush, frame: Frame): void {
  for (const words of frame.words) {
    if (words.key === 'pen') continue;
    const step = brush.text * words.size * 1.18;
    const x =
      words.align === 'left' ? words.x : words.align === 'right' ? words.x + words.w : words.x + words.w / 2;
    words.lines.forEach((text, i) => {
      write(brush, text, x, words.y + step * (i + 0.8), {
        align: words.align,
        weight: words.weight,
        size: words.size,
        color: words.soft ? brush.inkSoft : brush.ink,
        halo: brush.paper,
      });
    });
  }
}
