// Where the pen is between two messages: on the predicted knots of the next seconds, by station time.

export type Knot = readonly [t_s: number, height_m: number, climb_mps: number, airspeed_mps: number];

export interface PenState {
  t_s: number;
  height_m: number;
  climb_mps: number;
  airspeed_mps: number;
}

/** An estimate may be so much ahead of a page's clock, which learns the station's from messages that come late by turns, s. */
const AHEAD_S = 0.5;

/** Cubic Hermite in height (the climb rates are its slopes), straight lines in the rest; held past the last knot. Before the
 * first, which may be ahead of the page's clock, the height comes to it at that knot's climb rate: held there, the pen would
 * stand still at every message and then hurry. */
export function penAt(knots: readonly Knot[], t_s: number): PenState | null {
  const first = knots[0];
  const last = knots.at(-1);
  if (!first || !last) return null;
  if (t_s <= first[0]) {
    const since_s = Math.max(t_s - first[0], -AHEAD_S);
    return { ...state(first, first[0] + since_s), height_m: first[1] + first[2] * since_s };
  }
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

/** A difference between what was shown and a new prediction fades by a factor of e in this time, s: a tenth is left after a
 * quarter of a second. Shorter is a jump again, longer lags behind. By judgement, no source. */
const FADE_S = 0.11;
/** After so long without a frame (a hidden page, a seek) there is nothing to glide from, s. */
const ANEW_S = 1;

/** Glides over from one message's prediction to the next one's, so that a packet makes no jump. */
export class Glide {
  private source: unknown = null;
  private shown: PenState | null = null;
  private gap: Omit<PenState, 't_s'> = { height_m: 0, climb_mps: 0, airspeed_mps: 0 };
  private since_s = 0;
  private predict: (t_s: number) => PenState | null = () => null;

  /** The state to show at an instant. `source` is the message that `predict` is of. */
  at(source: unknown, predict: (t_s: number) => PenState | null, t_s: number): PenState | null {
    if (source !== this.source) {
      const before = this.shown && Math.abs(t_s - this.shown.t_s) < ANEW_S ? this.faded(t_s) : null;
      this.source = source;
      this.predict = predict;
      const target = predict(t_s);
      this.gap = {
        height_m: before && target ? before.height_m - target.height_m : 0,
        climb_mps: before && target ? before.climb_mps - target.climb_mps : 0,
        airspeed_mps: before && target ? before.airspeed_mps - target.airspeed_mps : 0,
      };
      this.since_s = t_s;
    }
    this.shown = this.faded(t_s);
    return this.shown;
  }

  private faded(t_s: number): PenState | null {
    const target = this.predict(t_s);
    if (!target) return null;
    const left = Math.exp(-Math.max(0, t_s - this.since_s) / FADE_S);
    return {
      t_s,
      height_m: target.height_m + this.gap.height_m * left,
      climb_mps: target.climb_mps + this.gap.climb_mps * left,
      airspeed_mps: target.airspeed_mps + this.gap.airspeed_mps * left,
    };
  }
}
