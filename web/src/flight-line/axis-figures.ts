// The figures of the axes of height and speed: the highest with its unit. On a narrow sheet they stand inside the plots.
import { decimal, lengthScale, speedScale } from '../lib/units';
import type { Frame } from './frame';

interface Figure {
  words: string;
  y: number;
}

function figuresOf(ticks: readonly number[], unit: string, y: (value: number) => number): Figure[] {
  const last = ticks.at(-1);
  return ticks.map((v) => ({ words: v === last ? `${decimal(v)} ${unit}` : decimal(v), y: y(v) }));
}

/** Without zero on a narrow sheet. */
export function heightFigures(frame: Frame): Figure[] {
  const ticks = frame.heightTicks.filter((h) => h !== 0 || !frame.geometry.narrow);
  return figuresOf(ticks, lengthScale(frame.chart.units).unit, frame.yHeight);
}

/** As on a narrow sheet. */
export function speedFigures(frame: Frame): Figure[] {
  return figuresOf(frame.speedTicks, speedScale(frame.chart.units).unit, frame.ySpeed);
}
