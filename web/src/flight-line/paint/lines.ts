// What is ahead (bands, dashed median, "if nothing deploys", apogee) and what has passed (solid; dashed in its band
// where it was carried through silence).
import type { Frame } from '../frame';
import { GAP_S } from '../../lib/past';
import type { FuturePoint, PastPoint } from '../data';
import { dot, line, type Brush } from './brush';

const FUTURE = [9, 6];
const BARE = [2, 4];
const SECOND = [14, 3];
const SECOND_FUTURE = [1, 5.5];
const MAIN_WIDTH = 3.5;
const SERIES_WIDTH = 2.5;

type XY = [number, number];

function band(brush: Brush, upper: XY[], lower: XY[], color: string): void {
  const { ctx } = brush;
  if (upper.length < 2) return;
  ctx.beginPath();
  upper.forEach(([x, y], i) => (i === 0 ? ctx.moveTo(x, y) : ctx.lineTo(x, y)));
  for (let i = lower.length - 1; i >= 0; i -= 1) {
    const p = lower[i];
    if (p) ctx.lineTo(p[0], p[1]);
  }
  ctx.closePath();
  ctx.fillStyle = color;
  ctx.fill();
}

function clipped(brush: Brush, box: { x: number; y: number; w: number; h: number }, paint: () => void): void {
  brush.ctx.save();
  brush.ctx.beginPath();
  brush.ctx.rect(box.x, box.y, box.w, box.h);
  brush.ctx.clip();
  paint();
  brush.ctx.restore();
}

/** Everything predicted; drawn on a layer of its own, of which only the part right of the pen is shown. */
export function paintAhead(brush: Brush, frame: Frame): void {
  const { chart, geometry } = frame;
  const { future } = chart;
  const xy = (pick: (k: FuturePoint) => number, y: (v: number) => number): XY[] =>
    future.map((k) => [frame.x(k.t), y(pick(k))]);
  // The median ends on the ground; the band's late side goes on a little longer.
  const landed = future.findIndex((k, i) => i > 0 && k.height.p50 <= 0 && k.climb.p50 <= 0);
  const aloft = landed < 0 ? future : future.slice(0, landed + 1);
  const { main, strip } = geometry;
  clipped(brush, { ...main, h: main.h + 2 }, () => {
    band(
      brush,
      xy((k) => k.height.p95, frame.yHeight),
      xy((k) => k.height.p05, frame.yHeight),
      brush.band90,
    );
    band(
      brush,
      xy((k) => k.height.p75, frame.yHeight),
      xy((k) => k.height.p25, frame.yHeight),
      brush.band50,
    );
    const bare = future.findIndex((k, i) => i > 0 && k.bare <= 0);
    const falling = bare < 0 ? future : future.slice(0, bare + 1);
    line(
      brush,
      falling.map((k): XY => [frame.x(k.t), frame.yHeight(k.bare)]),
      brush.inkSoft,
      1.5,
      BARE,
    );
    line(
      brush,
      aloft.map((k): XY => [frame.x(k.t), frame.yHeight(k.height.p50)]),
      brush.ink,
      SERIES_WIDTH,
      FUTURE,
    );
  });
  if (strip) {
    clipped(brush, strip, () => {
      for (const what of ['climb', 'airspeed'] as const) {
        const pick = (k: FuturePoint) => k[what];
        const on = aloft.map((k): XY => [frame.x(k.t), frame.ySpeed(pick(k).p95)]);
        const under = aloft.map((k): XY => [frame.x(k.t), frame.ySpeed(pick(k).p05)]);
        band(brush, on, under, brush.band90);
      }
      const of = (what: 'climb' | 'airspeed'): XY[] =>
        aloft.map((k) => [frame.x(k.t), frame.ySpeed(k[what].p50)]);
      line(brush, of('climb'), brush.blue, SERIES_WIDTH, FUTURE);
      brush.ctx.lineCap = 'round';
      roundDots(brush, of('airspeed'));
    });
  }
}

/** Dots need round ends, which `line` leaves off so that dashes keep their length. */
function roundDots(brush: Brush, points: XY[]): void {
  const { ctx } = brush;
  ctx.beginPath();
  points.forEach(([x, y], i) => (i === 0 ? ctx.moveTo(x, y) : ctx.lineTo(x, y)));
  ctx.lineCap = 'round';
  ctx.lineWidth = SERIES_WIDTH * 1.2 * brush.stroke;
  ctx.strokeStyle = brush.green;
  ctx.setLineDash(SECOND_FUTURE.map((d) => d * brush.stroke));
  ctx.stroke();
  ctx.setLineDash([]);
  ctx.lineCap = 'butt';
}

/** The apogee's hollow dot with its 90 % whisker, and the hand sum's cross where there is room to say what it is. */
export function paintApogee(brush: Brush, frame: Frame): void {
  const { apogee, hand } = frame.chart;
  if (hand && frame.words.some((w) => w.key === 'hand')) {
    const x = frame.x(hand.t);
    const y = frame.yHeight(hand.height);
    const r = 5 * brush.stroke;
    line(
      brush,
      [
        [x - r, y],
        [x + r, y],
      ],
      brush.inkSoft,
      1.5,
    );
    line(
      brush,
      [
        [x, y - r],
        [x, y + r],
      ],
      brush.inkSoft,
      1.5,
    );
  }
  if (!apogee) return;
  const x = frame.x(apogee.t);
  if (!apogee.passed) {
    const high = frame.yHeight(apogee.height.p95);
    const low = frame.yHeight(apogee.height.p05);
    const cap = 8 * brush.stroke;
    line(
      brush,
      [
        [x, high],
        [x, low],
      ],
      brush.ink,
      1.5,
    );
    for (const y of [high, low])
      line(
        brush,
        [
          [x - cap, y],
          [x + cap, y],
        ],
        brush.ink,
        1.5,
      );
  }
  dot(brush, x, frame.yHeight(apogee.height.p50), 6.5, false);
}

/** Runs of points without a gap, solid or carried. */
function runs(
  points: readonly PastPoint[],
  pick: (p: PastPoint) => number | null,
  carriedFrom: number,
): { carried: boolean; points: PastPoint[] }[] {
  const found: { carried: boolean; points: PastPoint[] }[] = [];
  let last: PastPoint | null = null;
  for (const p of points) {
    if (pick(p) === null) {
      last = null;
      continue;
    }
    const carried = p.carried || p.t > carriedFrom;
    const run = found.at(-1);
    if (!run || last === null || p.t - last.t > GAP_S) found.push({ carried, points: [p] });
    else if (run.carried !== carried) found.push({ carried, points: [last, p] });
    else run.points.push(p);
    last = p;
  }
  return found;
}

/** Within one pixel column only first, lowest, highest and last matter. */
export function thinned(points: readonly XY[]): XY[] {
  const out: XY[] = [];
  let column: XY[] = [];
  const flush = (): void => {
    if (column.length <= 4) out.push(...column);
    else {
      const low = column.reduce((a, b) => (b[1] < a[1] ? b : a));
      const high = column.reduce((a, b) => (b[1] > a[1] ? b : a));
      const keep = new Set([column[0], low, high, column.at(-1)]);
      out.push(...column.filter((p) => keep.has(p)));
    }
    column = [];
  };
  for (const p of points) {
    const first = column[0];
    if (first && Math.floor(first[0]) !== Math.floor(p[0])) flush();
    column.push(p);
  }
  flush();
  return out;
}

/** The path with hindsight, whole: thin, beside what was told then. */
export function paintHindsight(brush: Brush, frame: Frame): void {
  const { main } = frame.geometry;
  clipped(brush, { ...main, h: main.h + 2 }, () => {
    let run: XY[] = [];
    const flush = (): void => {
      line(brush, thinned(run), brush.purple, 1.75, [2, 3]);
      run = [];
    };
    for (const { t, height } of frame.chart.hindsight) {
      if (height === null) flush();
      else run.push([frame.x(t), frame.yHeight(height)]);
    }
    flush();
  });
}

export function paintPast(brush: Brush, frame: Frame): void {
  const { chart, geometry } = frame;
  const carriedFrom = chart.silentFrom ?? Infinity;
  const { main, strip } = geometry;
  const through = (
    pick: (p: PastPoint) => number | null,
    y: (v: number) => number,
    color: string,
    width: number,
    dash: number[],
    carriedDash: number[],
  ): void => {
    for (const run of runs(chart.past, pick, carriedFrom)) {
      const points = thinned(run.points.map((p): XY => [frame.x(p.t), y(pick(p) ?? 0)]));
      line(brush, points, color, run.carried ? SERIES_WIDTH : width, run.carried ? carriedDash : dash);
    }
  };
  clipped(brush, { ...main, h: main.h + 2 }, () => {
    for (const run of runs(chart.past, (p) => p.band?.p50 ?? null, carriedFrom)) {
      const edge = (which: 'p05' | 'p25' | 'p75' | 'p95'): XY[] =>
        run.points.map((p) => [frame.x(p.t), frame.yHeight(Math.max(0, p.band?.[which] ?? 0))]);
      band(brush, edge('p95'), edge('p05'), brush.band90);
      band(brush, edge('p75'), edge('p25'), brush.band50);
    }
    through((p) => p.height, frame.yHeight, brush.ink, MAIN_WIDTH, [], FUTURE);
  });
  if (!strip) return;
  clipped(brush, strip, () => {
    through((p) => p.airspeed, frame.ySpeed, brush.green, SERIES_WIDTH, SECOND, SECOND_FUTURE);
    through((p) => p.climb, frame.ySpeed, brush.blue, SERIES_WIDTH, [], FUTURE);
  });
}
