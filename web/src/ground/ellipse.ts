// From a covariance to the ellipse of a share of all cases: half axes and turn. Two-dimensional normal distribution:
// a share P lies within sqrt(-2 ln(1 - P)) standard deviations (Mahalanobis): 1.177 for 50 %, 2.146 for 90 %.

export const HALF = Math.sqrt(-2 * Math.log(0.5));
export const NINE_TENTHS = Math.sqrt(-2 * Math.log(0.1));

export interface Axes {
  /** Half axes at one standard deviation, m. */
  major: number;
  minor: number;
  /** Of the major axis, anticlockwise from east, degrees. */
  turnDeg: number;
}

/** `[xx, xy, yy]` in m², x east and y north. */
export function axesOf([xx, xy, yy]: readonly [number, number, number]): Axes {
  const mean = (xx + yy) / 2;
  const half = Math.hypot((xx - yy) / 2, xy);
  return {
    major: Math.sqrt(Math.max(0, mean + half)),
    minor: Math.sqrt(Math.max(0, mean - half)),
    turnDeg: (Math.atan2(2 * xy, xx - yy) * 90) / Math.PI,
  };
}

/** How far the ellipse of one standard deviation reaches towards an angle (anticlockwise from east, rad). */
export function reach(axes: Axes, angle: number): number {
  const a = angle - (axes.turnDeg * Math.PI) / 180;
  const { major, minor } = axes;
  if (major <= 0 || minor <= 0) return 0;
  return (major * minor) / Math.hypot(minor * Math.cos(a), major * Math.sin(a));
}
