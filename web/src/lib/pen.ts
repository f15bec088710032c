// Where the pen is between two messages: on the predicted knots of the next seconds, by station time.

export type Knot = readonly [t_s: number, height_m: number, climb_mps: number, airspeed_mps: number];

export interface PenState {
  t_s: number;
  height_m: number;
  climb_mps: number;
  airspeed_mps: number;
}

/** Cubic Hermite in height (the climb rates are its slopes), straight lines in the rest; held past the last knot. */
export function penAt(knots: readonly Knot[], t_s: number): PenState | null {
  const first = knots[0];
  const last = knots.at(-1);
  if (!first || !last) return null;
  if (t_s <= first[0]) return state(first, first[0]);
  if (t_s >= last[0]) return state(last, last[0]);
  let i = 0;
  while (i < knots.length - 2 && (knots[i + 1]?.[0] ?? Infinity) <= t_s) i += 1;
  const a = knots[i] ?? first;
  const b = knots[i + 1] ?? last;
  const span = b[0] - a[0];
  if (span <= 0) return state(b, b[0]);
  const u = (t_s - a[0]) / span;
  const u2 = u * u;
  const u3 = u2 * u;
  const height =
    (2 * u3 - 3 * u2 + 1) * a[1] +
    (u3 - 2 * u2 + u) * span * a[2] +
    (-2 * u3 + 3 * u2) * b[1] +
    (u3 - u2) * span * b[2];
  // A chute opening or the ground between two knots bends faster than a cubic may: stay between the ends there.
  const low = Math.min(a[1], b[1]);
  const high = Math.max(a[1], b[1]);
  const turning = a[2] * b[2] < 0;
  return {
    t_s,
    height_m: turning ? height : Math.min(high, Math.max(low, height)),
    climb_mps: a[2] + (b[2] - a[2]) * u,
    airspeed_mps: a[3] + (b[3] - a[3]) * u,
  };
}

function state(knot: Knot, t_s: number): PenState {
  return { t_s, height_m: knot[1], climb_mps: knot[2], airspeed_mps: knot[3] };
}
