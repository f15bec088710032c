// Round steps for the axes.
import { fractionAt, type TimeScale } from './timescale';

/** The smallest of 1, 2, 5 times a power of ten that is not below `least`. */
export function roundStep(least: number): number {
  const power = 10 ** Math.floor(Math.log10(Math.max(least, 1e-9)));
  const lead = least / power;
  const round = lead <= 1 ? 1 : lead <= 2 ? 2 : lead <= 5 ? 5 : 10;
  return round * power;
}

/** Multiples of a round step within `low` to `high`, at most `most` of them. */
export function ticks(low: number, high: number, most: number): number[] {
  if (!(high > low)) return [];
  const step = roundStep((high - low) / most);
  const found: number[] = [];
  for (let i = Math.ceil(low / step - 1e-9); i * step <= high + step * 1e-9; i += 1) found.push(i * step);
  return found;
}

/** The axis ends here: with a little air above `high`, kept while it fits and is not far too long. */
export function keepTop(before: number | null, high: number): number {
  const wanted = Math.max(high, 1) * 1.06;
  if (before !== null && high <= before && wanted > before * 0.6) return before;
  return wanted;
}

export interface TimeTick {
  t: number;
  /** Empty for a line without a figure. */
  label: string;
}

/** Ticks of both parts of the time axis; labels at least `gapPx` apart. */
export function timeTicks(scale: TimeScale, widthPx: number, gapPx: number): TimeTick[] {
  const found: TimeTick[] = [];
  const x = (t: number): number => fractionAt(scale, t) * widthPx;
  const part = (from: number, to: number, labelFrom: number): void => {
    const perSecond = (x(to) - x(from)) / (to - from);
    if (!(perSecond > 0)) return;
    const step = roundStep(gapPx / perSecond);
    for (let i = Math.ceil(from / step - 1e-9); i * step <= to + 1e-9; i += 1) {
      const t = i * step;
      const clear = x(t) >= labelFrom && x(t) <= widthPx - gapPx * 0.35;
      found.push({ t, label: !clear ? '' : t === 0 ? 'T+0' : String(Math.round(t * 10) / 10) });
    }
  };
  part(0, scale.breakAt ?? scale.to, 0);
  if (scale.breakAt !== null) {
    const last = found.filter((f) => f.label).at(-1);
    part(
      scale.breakAt + 1e-6,
      scale.to,
      Math.max(x(scale.breakAt) + gapPx * 0.4, last ? x(last.t) + gapPx * 0.7 : 0),
    );
  }
  const last = found.filter((f) => f.label).at(-1);
  if (last && last.t !== 0) last.label += ' s';
  return found;
}
