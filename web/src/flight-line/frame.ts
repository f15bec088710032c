// One state of the paper, ready to be drawn: where everything stands in pixels. Works on a chart, the room there is
// and what stood where before (so that nothing jumps); measures words, draws nothing.
import { decimal, lengthScale } from '../lib/units';
import type { Chart } from './data';
import { aheadOf } from './data';
import { hangFlags, type FlagBox, type Hanging, type Hung } from './flags';
import { divide, type Geometry } from './geometry';
import type { Placed } from './labels';
import { fractionAt, keepScale, type TimeScale } from './timescale';
import { keepTop, ticks, timeTicks, type TimeTick } from './ticks';
import { wordsOn, type Words } from './words';

/** What is carried from one frame to the next. */
export interface Memory {
  scale: TimeScale | null;
  top: number | null;
  fast: number | null;
  slow: number | null;
  rows: number;
  /** Rows of flags that are kept free at least. */
  least: number;
  hung: Hung;
  places: Map<string, number>;
}

export function freshMemory(least = 3): Memory {
  return {
    scale: null,
    top: null,
    fast: null,
    slow: null,
    rows: least,
    least,
    hung: new Map(),
    places: new Map(),
  };
}

export interface Frame {
  chart: Chart;
  geometry: Geometry;
  scale: TimeScale;
  top: number;
  /** Speeds at the top and the bottom of the second strip. */
  fast: number;
  slow: number;
  x: (t: number) => number;
  yHeight: (height: number) => number;
  ySpeed: (speed: number) => number;
  heightTicks: number[];
  speedTicks: number[];
  timeTicks: TimeTick[];
  flags: FlagBox[];
  words: (Words & Placed)[];
  /** Where the pen was when its words were placed. */
  penAnchor: { x: number; y: number } | null;
}

export type Measure = (words: string, weight: 400 | 500 | 700, size: number) => number;

export interface Sheet {
  width: number;
  height: number;
  text: number;
  narrow: boolean;
  strip: boolean;
  nowRel: number;
  penHeight: number | null;
  /** Since when the paper is hatched, s since liftoff, and what is written there. */
  hatchFrom: number | null;
  hatchWords: string;
}

/** More rows of flags than this would leave no room for the line. */
const MOST_ROWS = 5;

export function frameOf(chart: Chart, sheet: Sheet, memory: Memory, measure: Measure): Frame {
  if (memory.scale && memory.scale.flight !== chart.flight) Object.assign(memory, freshMemory(memory.least));
  const scale = keepScale(memory.scale, aheadOf(chart, sheet.nowRel, sheet.narrow));
  memory.scale = scale;
  memory.top = keepTop(memory.top, highest(chart));
  const [slow, fast] = speeds(chart);
  memory.fast = keepTop(memory.fast, fast);
  memory.slow = -keepTop(memory.slow === null ? null : -memory.slow, Math.max(-slow, memory.fast * 0.2));

  const { unit } = lengthScale(chart.units);
  const widest = measure(`${decimal(ticks(0, memory.top, 5).at(-1) ?? 0)} ${unit}`, 400, 1);
  const left = Math.max(sheet.text * 3.4, widest + sheet.text * 0.5);
  let geometry = divide({ ...sheet, rows: memory.rows, left });
  const xIn = (g: Geometry) => (t: number) => g.main.x + fractionAt(scale, t) * g.main.w;
  const hang = (): Hanging =>
    hangFlags(
      chart.flags,
      {
        x: xIn(geometry),
        measure: (words, strong) => measure(words, strong ? 700 : 400, 1),
        leftEdge: geometry.main.x,
        rightEdge: geometry.width,
        pennant: sheet.text * 1.15,
        triangle: sheet.text * 1.3,
        narrow: sheet.narrow,
        rows: geometry.rows,
      },
      memory.hung,
    );
  let hanging = hang();
  while (hanging.clash && memory.rows < MOST_ROWS) {
    memory.rows += 1;
    geometry = divide({ ...sheet, rows: memory.rows, left });
    hanging = hang();
  }
  const { flags } = hanging;
  memory.hung = new Map(flags.map((f) => [f.short, { row: f.row, left: f.left }]));

  const { main, strip, head, line } = geometry;
  const top = memory.top;
  // Above the highest point is room for the words of the apogee, below what is written along the top.
  const room = main.h - head - line * 1.6;
  const frame: Frame = {
    chart,
    geometry,
    scale,
    top,
    fast: memory.fast,
    slow: memory.slow,
    x: xIn(geometry),
    yHeight: (height) => main.y + main.h - (height / top) * room,
    ySpeed: speedPlace(strip, memory.fast, memory.slow),
    // As many as do not touch each other.
    heightTicks: ticks(0, top, Math.max(1, Math.min(5, Math.floor(room / (sheet.text * 1.5))))),
    speedTicks: ticks(memory.slow, memory.fast, sheet.narrow ? 2 : 3),
    timeTicks: timeTicks(scale, main.w, sheet.text * (sheet.narrow ? 3.2 : 5)),
    flags,
    words: [],
    penAnchor: null,
  };
  if (sheet.penHeight !== null) {
    frame.penAnchor = { x: frame.x(sheet.nowRel), y: frame.yHeight(sheet.penHeight) };
  }
  frame.words = wordsOn(frame, sheet, memory.places, measure);
  memory.places = new Map(frame.words.map((w) => [w.key, w.place]));
  return frame;
}

function speedPlace(strip: Geometry['strip'], fast: number, slow: number): (speed: number) => number {
  if (!strip) return () => 0;
  return (speed) => strip.y + strip.h - ((speed - slow) / (fast - slow)) * strip.h;
}

function highest(chart: Chart): number {
  const past = chart.past.reduce((most, p) => Math.max(most, p.height ?? 0), 0);
  const future = chart.future.reduce((most, k) => Math.max(most, k.height.p95), 0);
  return Math.max(past, future, chart.apogee?.height.p95 ?? 0, chart.hand?.height ?? 0);
}

function speeds(chart: Chart): [number, number] {
  let slow = 0;
  let fast = 1;
  for (const p of chart.past) {
    slow = Math.min(slow, p.climb ?? 0);
    fast = Math.max(fast, p.airspeed ?? 0, p.climb ?? 0);
  }
  for (const k of chart.future) {
    slow = Math.min(slow, k.climb.p05);
    fast = Math.max(fast, k.airspeed.p95, k.climb.p95);
  }
  for (const mark of chart.marks) fast = Math.max(fast, mark.airspeed, mark.limit);
  return [slow, fast];
}
