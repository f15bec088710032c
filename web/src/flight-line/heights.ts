// The figures of the height axis: the highest with its unit. On a narrow sheet they stand inside the plot, without zero.
import { decimal, lengthScale } from '../lib/units';
import type { Frame } from './frame';

export function heightFigures(frame: Frame): { words: string; y: number }[] {
  const { unit } = lengthScale(frame.chart.units);
  const last = frame.heightTicks.at(-1);
  return frame.heightTicks
    .filter((h) => h !== 0 || !frame.geometry.narrow)
    .map((h) => ({ words: h === last ? `${decimal(h)} ${unit}` : decimal(h), y: frame.yHeight(h) }));
}
