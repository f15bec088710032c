// The figures of the axes of height and speed: the highest with its unit. On a narrow sheet they stand inside the plots.
import { decimal, lengthScale, speedScale } from '../lib/units';
import type { Frame } from './frame';

/** Without zero on a narrow sheet. */
export function heightFigures(frame: Frame): { words: string; y: number }[] {
  const { unit } = lengthScale(frame.chart.units);
  const last = frame.heightTicks.at(-1);
  return frame.heightTicks
    .filter((h) => h !== 0 || !frame.geometry.narrow)
    .map((h) => ({ words: h === last ? `${decimal(h)} ${unit}` : decimal(h), y: frame.yHeight(h) }));
}

/** As on a narrow sheet. */
export function speedFigures(frame: Frame): { words: string; y: number }[] {
  const { unit } = speedScale(frame.chart.units);
  const last = frame.speedTicks.at(-1);
  return frame.speedTicks.map((v) => ({
    words: v === last ? `${decimal(v)} ${unit}` : decimal(v),
    y: frame.ySpeed(v),
  }));
}
