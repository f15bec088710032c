// Every word that stands in the plots, with the places where it may stand.
import { duration } from '../lib/age';
import { halfWidth } from '../lib/quantity';
import { decimal, lengthScale } from '../lib/units';
import type { Frame, Measure, Sheet } from './frame';
import { hatchSpot, headWords, nowSpot, type HeadWords } from './head';
import { heightFigures, speedFigures } from './axis-figures';
import { placeLabels, type Box, type Label, type Placed } from './labels';

/** Half the room that the apogee's mark and the pen take, over the size of the text. */
const MARK = 0.6;

export interface Words {
  key: string;
  lines: readonly string[];
  soft: boolean;
  weight: 400 | 500 | 700;
  size: number;
  /** Edge of the box that the lines are written from. */
  align: 'left' | 'center' | 'right';
}

type Spot = readonly [x: number, y: number];

interface Asked extends Words {
  /** Middle of the box, for each place. */
  at: readonly Spot[];
  strip?: boolean;
  optional?: boolean;
  yields?: boolean;
}

export function wordsOn(
  frame: Frame,
  sheet: Sheet,
  before: ReadonlyMap<string, number>,
  measure: Measure,
): (Words & Placed)[] {
  const { geometry } = frame;
  const curve = curvePoints(frame, sheet);
  const fixed = fixedBoxes(frame, sheet, measure);
  const asked = [...mainWords(frame, sheet, measure), ...stripWords(frame, sheet, measure)];
  const boxOf = (a: Asked): { w: number; h: number } => sizeOf(a, sheet, measure);
  const labels = (strip: boolean): Label[] =>
    asked
      .filter((a) => (a.strip ?? false) === strip)
      .map((a) => {
        const { w, h } = boxOf(a);
        return {
          key: a.key,
          optional: a.optional ?? false,
          yields: a.yields ?? false,
          width: w,
          height: h,
          places: a.at.map(([x, y]) => ({ x: x - w / 2, y: y - h / 2 })),
        };
      });
  const { main, strip, line } = geometry;
  const above = { x: main.x, y: 0, w: main.w, h: main.h };
  const below = strip && { x: strip.x, y: strip.y - line * 0.6, w: strip.w, h: strip.h + line * 0.6 };
  const placed = [
    ...placeLabels(labels(false), fixed, curve.main, above, before),
    ...(below
      ? placeLabels(
          labels(true),
          [...curve.marks, ...speedBoxes(frame, sheet, measure)],
          curve.strip,
          below,
          before,
        )
      : []),
  ];
  return placed.flatMap((p) => {
    const words = asked.find((a) => a.key === p.key);
    return words ? [{ ...words, ...p }] : [];
  });
}

function sizeOf(words: Words, sheet: Sheet, measure: Measure): { w: number; h: number } {
  const w = Math.max(...words.lines.map((l) => measure(l, words.weight, words.size)));
  return { w: w + 6, h: words.lines.length * sheet.text * words.size * 1.18 };
}

/** Boxes that no word may cover: those of the time break and of "now" at the top, and figures inside the plot. */
function fixedBoxes(frame: Frame, sheet: Sheet, measure: Measure): Box[] {
  const { geometry, chart } = frame;
  const boxes: Box[] = [];
  const width = (words: string): number => measure(words, 400, 1);
  const keep = ({ words, x, align, row = 0 }: HeadWords & { row?: number }): void => {
    const w = width(words) + 12;
    boxes.push({ x: align === 'left' ? x - 6 : x - w + 6, y: row * geometry.line, w, h: geometry.line });
  };
  headWords(frame).forEach(keep);
  if (chart.lifted && !chart.down) {
    const now = frame.x(sheet.nowRel);
    keep(nowSpot(sheet.nowRel, now, frame, width));
    if (sheet.hatchFrom !== null) keep(hatchSpot(sheet.hatchWords, frame.x(sheet.hatchFrom), now, width));
  }
  if (sheet.narrow) {
    const { main } = geometry;
    for (const { words, y } of heightFigures(frame)) {
      const w = width(words) + 8;
      boxes.push({ x: main.x + main.w - w, y: y - geometry.line, w, h: geometry.line });
    }
  }
  const { apogee } = chart;
  const r = sheet.text * MARK;
  if (apogee)
    boxes.push({ x: frame.x(apogee.t) - r, y: frame.yHeight(apogee.height.p50) - r, w: 2 * r, h: 2 * r });
  if (sheet.penHeight !== null) {
    boxes.push({ x: frame.x(sheet.nowRel) - r, y: frame.yHeight(sheet.penHeight) - r, w: 2 * r, h: 2 * r });
  }
  return boxes;
}

/** Figures of the speeds where they stand inside the strip. */
function speedBoxes(frame: Frame, sheet: Sheet, measure: Measure): Box[] {
  if (!sheet.narrow) return [];
  const { geometry } = frame;
  return speedFigures(frame).map(({ words, y }) => {
    const w = measure(words, 400, 1) + 4;
    return { x: geometry.width - w, y: y - geometry.line, w, h: geometry.line };
  });
}

function mainWords(frame: Frame, sheet: Sheet, measure: Measure): Asked[] {
  const { chart, scale } = frame;
  const { text, narrow, nowRel } = sheet;
  const unit = lengthScale(chart.units).unit;
  const asked: Asked[] = [];
  const { apogee } = chart;
  const plain = { soft: true, weight: 400, size: 1, align: 'left' } as const;
  if (sheet.penHeight !== null && chart.lifted) asked.push(penWords(frame, sheet, measure));
  if (apogee) {
    const lead = narrow ? '' : 'apogee ';
    const spread = apogee.passed ? '' : ` ± ${halfWidth(apogee.height)}`;
    const lines = [`${lead}${decimal(apogee.height.p50)} ${unit}${spread}`];
    const words: Words = {
      key: 'apogee',
      lines,
      soft: false,
      weight: 700,
      size: narrow ? 1 : 1.19,
      align: 'center',
    };
    const { w, h } = sizeOf(words, sheet, measure);
    const x = frame.x(apogee.t);
    // Clear of the interval and, where that is narrow, of the mark itself, with room to come back to.
    const mark = frame.yHeight(apogee.height.p50);
    const clear = text * MARK + 4;
    const y = Math.min(frame.yHeight(apogee.height.p95) - text * 0.55, mark - clear) - h * 0.5;
    const under = Math.max(frame.yHeight(apogee.height.p05) + text * 0.7, mark + clear) + h * 0.5;
    asked.push({
      ...words,
      at: [
        [x, y],
        [x + w * 0.12, y],
        [x - w * 0.12, y],
        [x + w * 0.25, y],
        [x - w * 0.25, y],
        [x + w * 0.4, y],
        [x - w * 0.4, y],
        [x + w * 0.5 + text, y],
        [x + w * 0.5 + text * 2.5, y],
        [x + w * 0.5 + text, y - h],
        [x - w * 0.5 - text, y],
        [x, under],
        [x + w * 0.5, under],
        [x - w * 0.5, under],
        [x, under + h],
        [x - w * 0.5 - text, y + h * 0.7],
        [x - w * 0.6 - text, under + h],
        [x + w * 0.6 + text, under + h],
        [x - w * 0.6 - text, under + h * 2.5],
        [x + w * 0.6 + text, under + h * 2.5],
      ],
    });
  }
  const { hand } = chart;
  if (hand && hand.t > nowRel + 0.6) {
    const lines = narrow
      ? ['+ by hand,', `${decimal(hand.height)} ${unit}`]
      : [`+ by hand, no drag: ${decimal(hand.height)} ${unit} in ${duration(hand.t - nowRel)}`];
    const words: Words = { ...plain, key: 'hand', lines };
    const { w, h } = sizeOf(words, sheet, measure);
    const x = frame.x(hand.t);
    const low = frame.yHeight(apogee?.height.p05 ?? hand.height);
    const ys = [1.2, 2, 2.8, 3.8, 5, 6.5].map((k) => low + h / 2 + text * k);
    const cross = frame.yHeight(hand.height);
    const beside = w / 2 + text * 0.8;
    asked.push({
      ...words,
      optional: true,
      at: [
        [x + beside, cross],
        [x - beside, cross],
        [x + w * 0.4, cross - h / 2 - text * 0.6],
        ...ys.flatMap((y): Spot[] => [
          [x, y],
          [x + w * 0.3, y],
          [x + w * 0.5, y],
          [x - w * 0.3, y],
          [x - w * 0.5, y],
        ]),
      ],
    });
  }
  if (chart.silentFrom !== null) {
    const since = `last heard T+${duration(Math.max(0, chart.silentFrom))}`;
    const words: Words = { ...plain, key: 'heard', lines: [since], soft: false };
    const { w } = sizeOf(words, sheet, measure);
    const x = frame.x(chart.silentFrom) + w / 2 + text * 0.8;
    const base = frame.yHeight(heightAt(frame, chart.silentFrom) ?? 0);
    asked.push({
      ...words,
      at: [
        [x, base + text * 1.4],
        [x, base + text * 3],
        [x, frame.yHeight(0) - text],
        [x - w - text * 1.6, base - text],
      ],
    });
  }
  if (chart.bareGround !== null && !chart.down && !(apogee?.passed && nowRel > (scale.breakAt ?? 0) + 2)) {
    const lines = narrow
      ? ['nothing', 'deploys']
      : ['if nothing deploys,', `ground at T+${decimal(chart.bareGround)} s`];
    const words: Words = { ...plain, key: 'bare', lines, align: 'right' };
    const { w } = sizeOf(words, sheet, measure);
    const at = [0.35, 0.25, 0.5, 0.65].flatMap((share): Spot[] => {
      const height = frame.top * share;
      const on = chart.future.find((k, i) => i > 0 && k.t > (apogee?.t ?? 0) && k.bare <= height);
      const x = frame.x(on?.t ?? chart.bareGround ?? 0);
      const y = frame.yHeight(height);
      return [
        [x - w / 2 - text * (narrow ? 0.9 : 2.2), y],
        [x - w / 2 - text * 0.9, y],
        [x + w / 2 + text, y],
      ];
    });
    asked.push({ ...words, yields: true, at });
  }
  if (scale.breakAt !== null && chart.future.length > 0 && !narrow) {
    const words: Words = { ...plain, key: 'bands', lines: ['bands 50 %, 90 %'] };
    const { w } = sizeOf(words, sheet, measure);
    const left = frame.x(scale.breakAt) + w / 2 + 9;
    const right = frame.geometry.width - w / 2 - 4;
    const row = frame.geometry.line;
    asked.push({
      ...words,
      optional: true,
      at: [
        [left, row * 1.55],
        [right, row * 1.55],
        [right, row * 2.6],
        [right, row * 4],
      ],
    });
  }
  return asked;
}

function penWords(frame: Frame, sheet: Sheet, measure: Measure): Asked {
  const { chart } = frame;
  const height = sheet.penHeight ?? 0;
  const unit = lengthScale(chart.units).unit;
  // The figure that the station said, as in the figures beside: the pen glides, its words step.
  const said = chart.height;
  const spread = said && !sheet.narrow ? ` ± ${halfWidth(said)}` : '';
  const words: Words = {
    key: 'pen',
    lines: [`${decimal(said?.p50 ?? height)} ${unit}${spread}`],
    soft: false,
    weight: 700,
    size: sheet.narrow ? 1 : 1.19,
    align: 'center',
  };
  const { w, h } = sizeOf(words, sheet, measure);
  const x = frame.x(sheet.nowRel);
  const y = frame.yHeight(height);
  const aside = w / 2 + sheet.text * 0.9;
  const rising = (chart.past.at(-1)?.climb ?? 0) >= 0;
  const left: Spot[] = [
    [x - aside, y - h * 0.4],
    [x - aside, y - h],
  ];
  const right: Spot[] = [
    [x + aside, y + h * 0.7],
    [x + aside, y + h * 1.3],
    [x + aside, y - h * 0.6],
  ];
  const upRight: Spot[] = [
    [x + aside, y - h * 0.5],
    [x + aside, y - h],
  ];
  return { ...words, at: rising ? [...left, ...right] : [...upRight, ...left, ...right] };
}

function stripWords(frame: Frame, sheet: Sheet, measure: Measure): Asked[] {
  const { chart, geometry } = frame;
  const { strip } = geometry;
  if (!strip) return [];
  const asked: Asked[] = [];
  for (const [i, mark] of chart.marks.filter((m) => m.over).entries()) {
    const words: Words = {
      key: `mark ${i}`,
      lines: [mark.words],
      soft: false,
      weight: 700,
      size: 1,
      align: 'left',
    };
    const { w, h } = sizeOf(words, sheet, measure);
    const x = frame.x(mark.t);
    const y = frame.ySpeed(mark.airspeed);
    asked.push({
      ...words,
      strip: true,
      // Two beside each other would cover the lines: the second is told by its flag and its heads-up.
      optional: i > 0,
      at: [
        [x + w / 2 + 12, y - h * 0.8],
        [x + w / 2 + 12, y - h * 1.3],
        [x - w / 2 - 12, y - h],
        [x + w / 2 + 12, y + h],
        [x - w / 2 - 12, y - h * 1.4],
        [x - w * 0.3, y - h * 1.5],
        [x - w / 2 - 12, y + h],
      ],
    });
  }
  // The upper line's name above it and the lower one's below, wherever there is room for that along them; else as it comes.
  const name = (key: string, lines: string[], side: 1 | -1, pick: (t: number) => number | null): void => {
    const words: Words = { key, lines, soft: false, weight: 500, size: 1, align: 'center' };
    const { w, h } = sizeOf(words, sheet, measure);
    const at: Spot[] = [];
    const beyond: Spot[] = [];
    for (const share of [0.22, 0.16, 0.3, 0.42, 0.55, 0.66, 0.8, 0.1]) {
      const x = strip.x + strip.w * share;
      const speed = pick(timeNear(frame, share));
      if (speed === null) continue;
      const y = frame.ySpeed(speed);
      at.push([x, y + side * h * 0.75], [x + w * 0.4, y + side * h * 0.9]);
      beyond.push([x, y - side * h * 0.75], [x + w * 0.4, y - side * h * 0.9]);
    }
    if (at.length) asked.push({ ...words, strip: true, at: [...at, ...beyond] });
  };
  if (chart.past.length > 1 || chart.future.length > 1) {
    name('airspeed', ['airspeed'], -1, (t) => speedAt(frame, t, 'airspeed'));
    name('vertical', [sheet.narrow ? 'vertical' : 'vertical speed'], 1, (t) => speedAt(frame, t, 'climb'));
  }
  return asked;
}

function timeNear(frame: Frame, share: number): number {
  const x = frame.geometry.main.x + frame.geometry.main.w * share;
  let best = 0;
  let nearest = Infinity;
  for (const t of [...frame.chart.past.map((p) => p.t), ...frame.chart.future.map((k) => k.t)]) {
    const off = Math.abs(frame.x(t) - x);
    if (off < nearest) {
      nearest = off;
      best = t;
    }
  }
  return best;
}

function speedAt(frame: Frame, t: number, what: 'airspeed' | 'climb'): number | null {
  const past = frame.chart.past.find((p) => p.t >= t);
  if (past) return past[what];
  return frame.chart.future.find((k) => k.t >= t)?.[what].p50 ?? null;
}

export function heightAt(frame: Frame, t: number): number | null {
  const { past } = frame.chart;
  for (let i = past.length - 1; i >= 0; i -= 1) {
    const p = past[i];
    if (p && p.t <= t && p.height !== null) return p.height;
  }
  return null;
}

/** Points of the lines that words keep clear of. */
function curvePoints(frame: Frame, sheet: Sheet) {
  const main: [number, number][] = [];
  const strip: [number, number][] = [];
  const { chart } = frame;
  const every = Math.max(1, Math.floor(chart.past.length / 150));
  chart.past.forEach((p, i) => {
    if (i % every !== 0) return;
    if (p.height !== null) main.push([frame.x(p.t), frame.yHeight(p.height)]);
    if (p.climb !== null) strip.push([frame.x(p.t), frame.ySpeed(p.climb)]);
    if (p.airspeed !== null) strip.push([frame.x(p.t), frame.ySpeed(p.airspeed)]);
  });
  chart.future.forEach((k, i) => {
    const next = chart.future[i + 1];
    for (const u of next ? [0, 0.33, 0.67] : [0]) {
      const mix = (a: number, b: number | undefined): number => a + ((b ?? a) - a) * u;
      const x = frame.x(mix(k.t, next?.t));
      main.push([x, frame.yHeight(mix(k.height.p50, next?.height.p50))]);
      main.push([x, frame.yHeight(mix(k.bare, next?.bare))]);
      strip.push([x, frame.ySpeed(mix(k.climb.p50, next?.climb.p50))]);
      strip.push([x, frame.ySpeed(mix(k.airspeed.p50, next?.airspeed.p50))]);
    }
  });
  // The now line is kept clear; the two hairs of the time break may be written over.
  const verticals = [chart.lifted && !chart.down ? sheet.nowRel : null];
  for (const t of verticals) {
    if (t === null) continue;
    for (let y = 0; y < frame.geometry.main.h; y += 6) main.push([frame.x(t), y]);
    const s = frame.geometry.strip;
    for (let y = s?.y ?? 0; s && y < s.y + s.h; y += 6) strip.push([frame.x(t), y]);
  }
  const r = sheet.text * 0.7;
  const marks = chart.marks.map((m): Box => {
    const a = frame.ySpeed(m.airspeed);
    const b = frame.ySpeed(m.limit);
    return { x: frame.x(m.t) - r, y: Math.min(a, b) - r, w: 2 * r, h: Math.abs(a - b) + 2 * r };
  });
  return { main, strip, marks };
}
