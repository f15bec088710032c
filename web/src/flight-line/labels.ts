// Puts words where they cover nothing: each label brings places in order of liking; the first that is free wins,
// the one it had before is kept while it stays free, so that words do not jump.

export interface Box {
  x: number;
  y: number;
  w: number;
  h: number;
}

export interface Spot {
  /** Left top corner. */
  x: number;
  y: number;
  /** What it costs by itself, in covered points. */
  dear?: number;
  /** Points of the line that ties a word here to what it names: it must not go through other words. */
  line?: readonly (readonly [number, number])[];
}

export interface Label {
  key: string;
  width: number;
  height: number;
  /** Best first. */
  places: readonly Spot[];
  /** Left out where every place costs something. */
  optional?: boolean;
  /** Left out where every place lies over other words; over a line it stands. */
  yields?: boolean;
}

export interface Placed extends Box {
  key: string;
  place: number;
}

/** A covered point of a line costs one, a covered box this much, each pixel outside this much. */
const BOX_COST = 60;
const OUTSIDE_COST = 20;
/** A word moves back to a better place only when this much is free around it, px. */
const MARGIN = 2;

export function overlaps(a: Box, b: Box): boolean {
  return a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h;
}

function within(box: Box, [x, y]: readonly [number, number]): boolean {
  return x > box.x && x < box.x + box.w && y > box.y && y < box.y + box.h;
}

export function placeLabels(
  labels: readonly Label[],
  boxes: readonly Box[],
  points: readonly (readonly [number, number])[],
  bounds: Box,
  before: ReadonlyMap<string, number>,
): Placed[] {
  const placed: Placed[] = [];
  const lines: (readonly [number, number])[] = [...points];
  for (const label of labels) {
    const cost = (place: number, margin = 0): number => {
      const at = label.places[place];
      if (!at) return Infinity;
      const box = {
        x: at.x - margin,
        y: at.y - margin,
        w: label.width + 2 * margin,
        h: label.height + 2 * margin,
      };
      const outside =
        Math.max(0, bounds.x - box.x) +
        Math.max(0, bounds.y - box.y) +
        Math.max(0, box.x + box.w - bounds.x - bounds.w) +
        Math.max(0, box.y + box.h - bounds.y - bounds.h);
      const hits = [...boxes, ...placed].filter((other) => overlaps(box, other)).length;
      const covered = lines.filter((point) => within(box, point)).length;
      const crossed = placed.filter((other) => at.line?.some((point) => within(other, point))).length;
      return outside * OUTSIDE_COST + (hits + crossed) * BOX_COST + covered + (at.dear ?? 0);
    };
    const old = before.get(label.key);
    const order = label.places.map((_, i) => i);
    // The old place first, unless a better liked one is free by a good margin.
    if (old !== undefined && old < order.length) {
      const better = order.find((i) => i < old && cost(i, MARGIN) === 0);
      order.unshift(better ?? old);
    }
    let best = order[0] ?? 0;
    let least = Infinity;
    for (const place of order) {
      const c = cost(place);
      if (c < least) {
        least = c;
        best = place;
      }
      if (c === 0) break;
    }
    const leftOut = (label.optional && least > 0) || (label.yields && least >= BOX_COST);
    const at = leftOut ? undefined : label.places[best];
    lines.push(...(at?.line ?? []));
    if (at) placed.push({ key: label.key, place: best, x: at.x, y: at.y, w: label.width, h: label.height });
  }
  return placed;
}
