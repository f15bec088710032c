// Which part of the ground is shown, and at what scale: a box about the pad and everything that matters, kept while
// everything stays inside and it is not far too large, so that the plan does not breathe with every message.
export type EN = readonly [number, number];

export interface Extent {
  west: number;
  east: number;
  south: number;
  north: number;
}

export interface Plan {
  extent: Extent;
  width: number;
  height: number;
  /** Pixels per metre. */
  scale: number;
  /** Shown-unit radii of the rings, m. */
  rings: number[];
}

/** Nothing smaller than this is shown, m. */
const LEAST_M = 160;

export function around(points: readonly EN[]): Extent {
  const box = { west: -LEAST_M / 4, east: LEAST_M / 4, south: -LEAST_M / 4, north: LEAST_M / 4 };
  for (const [e, n] of points) {
    box.west = Math.min(box.west, e);
    box.east = Math.max(box.east, e);
    box.south = Math.min(box.south, n);
    box.north = Math.max(box.north, n);
  }
  return box;
}

function grown(box: Extent, share: number): Extent {
  const by = Math.max(box.east - box.west, box.north - box.south, LEAST_M) * share;
  return { west: box.west - by, east: box.east + by, south: box.south - by, north: box.north + by };
}

function inside(small: Extent, large: Extent): boolean {
  return (
    small.west >= large.west &&
    small.east <= large.east &&
    small.south >= large.south &&
    small.north <= large.north
  );
}

/** The box to show: the one before, unless something left it or it has become more than twice too wide. */
export function keepExtent(before: Extent | null, wanted: Extent): Extent {
  if (before && inside(wanted, before)) {
    const much = Math.max(wanted.east - wanted.west, wanted.north - wanted.south, LEAST_M);
    if (Math.max(before.east - before.west, before.north - before.south) < much * 2.2) return before;
  }
  return grown(wanted, 0.13);
}

export function planOf(extent: Extent, width: number, height: number, metresPerUnit: number): Plan {
  const scale = Math.min(width / (extent.east - extent.west), height / (extent.north - extent.south));
  const middleE = (extent.east + extent.west) / 2;
  const middleN = (extent.north + extent.south) / 2;
  const full = {
    west: middleE - width / scale / 2,
    east: middleE + width / scale / 2,
    south: middleN - height / scale / 2,
    north: middleN + height / scale / 2,
  };
  const step = ringStep(Math.max(width, height) / scale / metresPerUnit / 5) * metresPerUnit;
  const farthest = Math.hypot(Math.max(-full.west, full.east), Math.max(-full.south, full.north));
  const rings: number[] = [];
  for (let r = step; r < farthest && rings.length < 12; r += step) rings.push(r);
  return { extent: full, width, height, scale, rings };
}

/** 1, 2.5 or 5 times a power of ten: 25, 50, 100, 250, 500, 1000. */
export function ringStep(least: number): number {
  const power = 10 ** Math.floor(Math.log10(Math.max(least, 1)));
  const lead = least / power;
  return power * (lead <= 1 ? 1 : lead <= 2.5 ? 2.5 : lead <= 5 ? 5 : 10);
}

export function xOf(plan: Plan, east: number): number {
  return (east - plan.extent.west) * plan.scale;
}

export function yOf(plan: Plan, north: number): number {
  return (plan.extent.north - north) * plan.scale;
}
