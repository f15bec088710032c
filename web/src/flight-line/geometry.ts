// How the paper is divided: the height plot, rows of flags, the second strip, the figures of the time axis.
import type { Box } from './labels';

export interface Geometry {
  width: number;
  height: number;
  narrow: boolean;
  /** Height of a line of text, px. */
  line: number;
  main: Box;
  /** Room at the top of the height plot that only words use. */
  head: number;
  rows: number;
  rowHeight: number;
  strip: Box | null;
  /** Baseline of the figures of the time axis. */
  axisY: number;
}

export interface Room {
  width: number;
  height: number;
  /** Text size, px. */
  text: number;
  narrow: boolean;
  rows: number;
  strip: boolean;
  /** Room for the figures left of the plots, px. */
  left: number;
}

export function divide({ width, height, text, narrow, rows, strip, left: aside }: Room): Geometry {
  const line = Math.round(text * 1.25);
  const rowHeight = Math.round(text * (narrow ? 1.15 : 1.25));
  const left = narrow ? 0 : Math.round(aside);
  const flags = rows * rowHeight + Math.round(text * 0.65);
  const axis = Math.round(text * 1.35);
  const unit = strip ? Math.round(text * 0.6) : 0;
  const free = Math.max(60, height - flags - axis - unit);
  const stripHeight = strip ? Math.round(free * (narrow ? 0.27 : 0.27)) : 0;
  const mainHeight = free - stripHeight;
  const main = { x: left, y: 0, w: width - left, h: mainHeight };
  return {
    width,
    height,
    narrow,
    line,
    main,
    head: line + 2,
    rows,
    rowHeight,
    strip: strip ? { x: left, y: mainHeight + flags + unit, w: width - left, h: stripHeight } : null,
    axisY: height - Math.round(text * 0.3),
  };
}
