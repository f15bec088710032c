// The paper itself: grid, axes with their figures, the break of the time scale.
import { decimal, speedScale } from '../../lib/units';
import type { Frame } from '../frame';
import { headWords } from '../head';
import { heightFigures, speedFigures } from '../axis-figures';
import { level, upright, write, type Brush } from './brush';

export function paintPaper(brush: Brush, frame: Frame): void {
  const { geometry, chart, scale } = frame;
  const { main, strip } = geometry;
  const plots = strip ? [main, strip] : [main];
  for (const { t } of frame.timeTicks)
    for (const plot of plots) upright(brush, frame.x(t), plot, brush.grid, 1);
  for (const h of frame.heightTicks) if (h !== 0) level(brush, frame.yHeight(h), main, brush.grid, 1);
  if (strip) {
    for (const v of frame.speedTicks) {
      level(brush, frame.ySpeed(v), strip, v === 0 ? brush.ruleStrong : brush.grid, 1);
    }
  }
  level(brush, main.y + main.h, main, brush.ink, 1.5);
  if (scale.breakAt !== null) {
    const x = frame.x(scale.breakAt);
    for (const plot of plots)
      for (const at of [x - 1.5, x + 1.5]) upright(brush, at, plot, brush.ruleStrong, 1);
  }
  for (const { words, x, align } of headWords(frame)) {
    write(brush, words, x, brush.text * 0.95, { color: brush.inkSoft, align, halo: brush.paper });
  }
  paintFigures(brush, frame, speedScale(chart.units).unit);
}

function paintFigures(brush: Brush, frame: Frame, speedUnit: string): void {
  const { main, strip, narrow, axisY, width } = frame.geometry;
  const soft = { color: brush.inkSoft } as const;
  for (const { words, y } of heightFigures(frame)) {
    // On the right the flight is low, and its line does not run through the figures.
    if (narrow) {
      const halo = frame.chart.down ? brush.paperPast : brush.paper;
      write(brush, words, main.x + main.w, y - 4, { ...soft, align: 'right', halo });
    } else write(brush, words, main.x - 8, y + brush.text * 0.35, { ...soft, align: 'right' });
  }
  if (strip) {
    if (narrow) {
      for (const { words, y } of speedFigures(frame)) {
        write(brush, words, width, y - 4, { ...soft, align: 'right', halo: brush.paper });
      }
    } else {
      for (const v of frame.speedTicks) {
        write(brush, decimal(v), strip.x - 8, frame.ySpeed(v) + brush.text * 0.35, {
          ...soft,
          align: 'right',
        });
      }
      const last = frame.speedTicks.at(-1);
      if (last !== undefined) {
        const y = frame.ySpeed(last) - brush.text * 0.75;
        write(brush, speedUnit, strip.x - 8, y, { ...soft, align: 'right' });
      }
    }
  }
  for (const { t, label } of frame.timeTicks) {
    if (!label) continue;
    const x = frame.x(t);
    const first = narrow && t === 0;
    write(brush, label, first ? Math.max(0, x - brush.text) : x, axisY, {
      ...soft,
      align: first ? 'left' : 'center',
    });
  }
}
