// How an estimate is written: the median, and beside it the 90 % interval with as many digits as it deserves.
import type { Q } from './messages';
import { decimal } from './units';

/** An interval this much longer on one side is written as a range, not as "±". */
const SKEWED = 1.6;

export function scaled(q: Q, factor: number): Q {
  return {
    p05: q.p05 * factor,
    p25: q.p25 * factor,
    p50: q.p50 * factor,
    p75: q.p75 * factor,
    p95: q.p95 * factor,
  };
}

/** The same interval turned upside down, for a descent shown as a positive figure. */
export function negated(q: Q): Q {
  return { p05: -q.p95, p25: -q.p75, p50: -q.p50, p75: -q.p25, p95: -q.p05 };
}

export function shifted(q: Q, by: number): Q {
  return { p05: q.p05 + by, p25: q.p25 + by, p50: q.p50 + by, p75: q.p75 + by, p95: q.p95 + by };
}

/** Half of the 90 % interval in the figure's own digits, never less than one of the last: "± 0" is no interval. */
export function halfWidth(q: Q, digits = 0): string {
  const half = (q.p95 - q.p05) / 2;
  return decimal(Math.max(half, 10 ** -digits), digits);
}

/** "± 9", or "403 to 431" where the two sides differ too much for that. */
export function interval(q: Q, digits = 0): string {
  const below = q.p50 - q.p05;
  const above = q.p95 - q.p50;
  const step = 10 ** -digits;
  const skewed =
    Math.max(below, above) > SKEWED * Math.min(below, above) && Math.abs(above - below) >= 4 * step;
  return skewed ? `${decimal(q.p05, digits)} to ${decimal(q.p95, digits)}` : `± ${halfWidth(q, digits)}`;
}
