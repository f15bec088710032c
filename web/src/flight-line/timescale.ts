// The time axis: even up to the first chute's predicted opening, slower after it, so that the climb is seen large and
// the whole descent still fits. The change is chosen once per flight (again at burnout) and does not slide.

export interface TimeScale {
  /** Flight number and stage of the choice; another flight, or burnout, chooses anew. */
  flight: number;
  burntOut: boolean;
  /** Left edge, s since liftoff. */
  from: number;
  /** Where time slows down, s since liftoff; `null` when it runs evenly throughout. */
  breakAt: number | null;
  /** How many times slower it is drawn after the break: a whole number. */
  factor: number;
  /** Right edge, s since liftoff. */
  to: number;
}

/** What the choice rests on; times in s since liftoff. */
export interface Ahead {
  flight: number;
  burntOut: boolean;
  now: number;
  /** On the ground: nothing will be added. */
  down: boolean;
  apogee: number | null;
  firstChute: number | null;
  /** Late end of the landing's interval. */
  landingLate: number | null;
  /** Share of the width for what comes after the break. */
  share: number;
}

/** Round factors that are read easily. */
const FACTORS = [2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100, 150, 200];
/** Below this factor a break costs more than it gives. */
const WORTHWHILE = 1.8;
/** With nothing predicted the axis is this long, s. */
const UNKNOWN_S = 20;
const LEAD = 0.045;
/** Before burnout the prediction may move this much before the axis is chosen anew. */
const LOOSE = 0.15;

export function chooseScale(ahead: Ahead): TimeScale {
  const base = { flight: ahead.flight, burntOut: ahead.burntOut };
  const end = Math.max(ahead.landingLate ?? 0, ahead.apogee ?? 0, ahead.now * 1.25, UNKNOWN_S / 2);
  const chute = ahead.firstChute === null ? null : Math.max(ahead.firstChute, ahead.apogee ?? 0);
  if (chute !== null && chute > 0 && end > chute) {
    const wanted = ((end - chute) / chute) * ((1 - ahead.share) / ahead.share);
    if (wanted >= WORTHWHILE) {
      const factor = FACTORS.reduce((best, f) => (Math.abs(f - wanted) < Math.abs(best - wanted) ? f : best));
      return { ...base, from: -LEAD * chute, breakAt: chute, factor, to: chute + (end - chute) * 1.06 };
    }
  }
  const to =
    (ahead.landingLate ?? ahead.apogee) === null ? Math.max(UNKNOWN_S, ahead.now * 1.25) : end * 1.04;
  return { ...base, from: -LEAD * to, breakAt: null, factor: 1, to };
}

/** The scale to draw with: the one before, unless there is a reason that the file's head allows. */
export function keepScale(before: TimeScale | null, ahead: Ahead): TimeScale {
  if (!before || before.flight !== ahead.flight) return chooseScale(ahead);
  const fresh = chooseScale(ahead);
  if (!before.burntOut && ahead.burntOut) return fresh;
  if (!ahead.burntOut) {
    const moved = Math.abs((fresh.breakAt ?? fresh.to) - (before.breakAt ?? before.to));
    const loose = LOOSE * (before.breakAt ?? before.to);
    return moved > loose ||
      fresh.to > before.to * 1.1 ||
      (fresh.breakAt === null) !== (before.breakAt === null)
      ? fresh
      : before;
  }
  // Joined after landing: the first guess knew less than the track that has come since.
  if (ahead.down && before.to > fresh.to * 1.3) return fresh;
  if (before.breakAt === null) return fresh.to > before.to * 1.02 ? { ...before, to: fresh.to } : before;
  if (ahead.apogee !== null && ahead.apogee > before.breakAt) return fresh;
  const end = Math.max(ahead.landingLate ?? 0, ahead.now);
  if (end > before.to) {
    // The descent takes longer than thought: the part after the break gets slower, the climb stays where it is.
    const span = (end - before.breakAt) * 1.15;
    const factor = Math.ceil((span / (before.to - before.breakAt)) * before.factor);
    return {
      ...before,
      factor,
      to: before.breakAt + ((before.to - before.breakAt) / before.factor) * factor,
    };
  }
  return before;
}

function unitsTo(scale: TimeScale, t: number): number {
  const { breakAt, from, factor } = scale;
  if (breakAt === null || t <= breakAt) return t - from;
  return breakAt - from + (t - breakAt) / factor;
}

/** 0 at the left edge, 1 at the right one; outside for times that are not on the paper. */
export function fractionAt(scale: TimeScale, t: number): number {
  return unitsTo(scale, t) / unitsTo(scale, scale.to);
}

/** The inverse of `fractionAt`. */
export function timeAtFraction(scale: TimeScale, fraction: number): number {
  const units = fraction * unitsTo(scale, scale.to);
  const { breakAt, from, factor } = scale;
  if (breakAt === null || units <= breakAt - from) return from + units;
  return breakAt + (units - (breakAt - from)) * factor;
}
