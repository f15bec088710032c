// What moves with time: the tint of what has passed, the now line, the pen, the hatch of silence.
import type { Frame } from '../frame';
import { duration } from '../../lib/age';
import { decimal, lengthScale } from '../../lib/units';
import { breakWords } from '../words';
import { dot, font, line, write, type Brush } from './brush';

export interface Pen {
  /** Now, s since liftoff. */
  t: number;
  height: number | null;
  climb: number | null;
  airspeed: number | null;
  /** Since when the paper is hatched, and what is written there. */
  hatchFrom: number | null;
  hatchWords: string;
}

/** Under everything: the paper that has passed below the pen, hatched where nothing was heard. */
export function paintPassed(brush: Brush, frame: Frame, pen: Pen): void {
  const { ctx } = brush;
  const { main, strip } = frame.geometry;
  if (!frame.chart.lifted) return;
  const right = Math.min(Math.max(frame.x(pen.t), main.x), main.x + main.w);
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
  const { main, strip, line: lineHeight } = frame.geometry;
  if (!frame.chart.lifted || frame.chart.down) return;
  const x = frame.x(pen.t);
  if (x > main.x + main.w) return;
  if (pen.hatchFrom !== null) {
    const from = frame.x(pen.hatchFrom);
    for (const box of strip ? [main, strip] : [main])
      line(
        brush,
        [
          [from, box.y],
          [from, box.y + box.h],
        ],
        brush.ink,
        1.5,
        [3, 3],
      );
    const wide = brush.ctx;
    wide.font = font(brush, 700);
    const w = wide.measureText(pen.hatchWords).width;
    const inside = x - from > w + 12;
    const y = brush.text * 0.95 + lineHeight;
    if (inside)
      write(brush, pen.hatchWords, (from + x) / 2, y, { weight: 700, align: 'center', halo: brush.paper });
    else write(brush, pen.hatchWords, from - 6, y, { weight: 700, align: 'right', halo: brush.paper });
  }
  for (const box of strip ? [main, strip] : [main])
    line(
      brush,
      [
        [x, box.y],
        [x, box.y + box.h],
      ],
      brush.ink,
      2,
    );
  nowWords(brush, frame, pen, x);
  if (pen.height === null) return;
  const last = frame.chart.past.at(-1);
  const lastT = last?.t ?? pen.t;
  if (last?.height != null && pen.t > lastT && pen.t - lastT < 2) {
    const hollow = pen.hatchFrom !== null;
    line(
      brush,
      [
        [frame.x(lastT), frame.yHeight(last.height)],
        [x, frame.yHeight(pen.height)],
      ],
      brush.ink,
      hollow ? 2.5 : 3.5,
      hollow ? [9, 6] : [],
    );
    if (
      strip &&
      last.climb !== null &&
      pen.climb !== null &&
      last.airspeed !== null &&
      pen.airspeed !== null
    ) {
      line(
        brush,
        [
          [frame.x(lastT), frame.ySpeed(last.airspeed)],
          [x, frame.ySpeed(pen.airspeed)],
        ],
        brush.green,
        2.5,
      );
      line(
        brush,
        [
          [frame.x(lastT), frame.ySpeed(last.climb)],
          [x, frame.ySpeed(pen.climb)],
        ],
        brush.blue,
        2.5,
      );
    }
  }
  const y = frame.yHeight(Math.max(0, pen.height));
  dot(brush, x, y, 8, pen.hatchFrom === null);
  penWords(brush, frame, x, y, pen.height);
}

function nowWords(brush: Brush, frame: Frame, pen: Pen, x: number): void {
  const { main, narrow, line: lineHeight } = frame.geometry;
  const words = `${narrow ? '' : 'now, '}T+${duration(Math.max(0, pen.t))}`;
  brush.ctx.font = font(brush);
  const w = brush.ctx.measureText(words).width + 10;
  const breakAt = frame.scale.breakAt === null ? null : frame.x(frame.scale.breakAt);
  const [before, after] = breakWords(frame.scale.factor, narrow);
  const taken: [number, number] | null =
    breakAt === null
      ? null
      : [
          breakAt - brush.ctx.measureText(before).width - 14,
          breakAt + brush.ctx.measureText(after).width + 14,
        ];
  const free = (a: number, b: number): boolean =>
    a >= main.x && b <= main.x + main.w && (!taken || b < taken[0] || a > taken[1]);
  const y = brush.text * 0.95;
  const soft = { color: brush.inkSoft, halo: null } as const;
  if (free(x - w, x)) write(brush, words, x - 8, y, { ...soft, align: 'right' });
  else if (free(x, x + w)) write(brush, words, x + 8, y, soft);
  else {
    const left = x - w >= main.x && x + w > main.x + main.w;
    write(brush, words, left ? x - 8 : x + 8, y + lineHeight, {
      ...soft,
      align: left ? 'right' : 'left',
      halo: brush.paper,
    });
  }
}

/** The pen's height, at the side of it that was found free when the frame was laid out. */
function penWords(brush: Brush, frame: Frame, x: number, y: number, height: number): void {
  const words = frame.words.find((w) => w.key === 'pen');
  const anchor = frame.penAnchor;
  if (!words || !anchor) return;
  const unit = lengthScale(frame.chart.units).unit;
  const rest = words.lines[0]?.replace(/^[−\d,.]+ \S+/, '') ?? '';
  const dx = words.x + words.w / 2 - anchor.x;
  const dy = words.y + words.h * 0.72 - anchor.y;
  write(brush, `${decimal(height)} ${unit}${rest}`, x + dx, y + dy, {
    align: 'center',
    weight: words.weight,
    size: words.size,
    halo: brush.paper,
  });
}
