// Names of the marks on the plan: each nearest to its own mark or, where marks lie close together, tied to it by a line. A name
// that stands at another piece's mark sends people to the wrong one.
import type { Box, Spot } from '../flight-line/labels';
import type { EN } from './view';

/** What a place costs, as points of a line that it would cover: far from its mark, beside another one, with a line over another. */
const FAR_COST = 6;
const FARTHER_COST = 3;
const AMBIGUOUS_COST = 30;
/** Half of a mark's width with its edge, px. */
export const MARK_PX = 7;
/** As many directions and distances, in heights of the text, are tried away from a mark. */
const DIRECTIONS = 16;
const FAR = [1.6, 2.6, 3.8];

/** From a point to the nearest of a box, px. */
function apart(box: Box, [x, y]: EN): number {
  return Math.hypot(...into(box, [x, y], [x, y]));
}

/** From a point to the nearest of a box to another point. */
function into(box: Box, near: EN, from: EN): [number, number] {
  const x = Math.min(Math.max(near[0], box.x), box.x + box.w);
  const y = Math.min(Math.max(near[1], box.y), box.y + box.h);
  return [x - from[0], y - from[1]];
}

/** Whether a box might be taken for the name of another mark: its own must be clearly the nearest. */
function ambiguous(box: Box, own: EN, others: readonly EN[]): boolean {
  const clear = apart(box, own) * 1.4 + 3;
  return others.some((other) => apart(box, other) < clear);
}

/** The line from a name to its mark, where it needs one: from the name's edge to the mark's. */
export function leaderOf(box: Box, own: EN, others: readonly EN[]): [EN, EN] | null {
  const [dx, dy] = into(box, own, own);
  const long = Math.hypot(dx, dy);
  if (long <= MARK_PX || (long < box.h && !ambiguous(box, own, others))) return null;
  const edge = MARK_PX / long;
  return [
    [own[0] + dx, own[1] + dy],
    [own[0] + dx * edge, own[1] + dy * edge],
  ];
}

/** Places for a name of a size about its mark, best first. */
export function placesAt([x, y]: EN, others: readonly EN[], w: number, h: number): Spot[] {
  const off = w / 2 + h * 0.6;
  const near: EN[] = [
    [off, 0],
    [-off, 0],
    [0, -h],
    [0, h],
    [off, -h * 0.6],
    [off, h * 0.6],
    [-off, -h * 0.6],
    [-off, h * 0.6],
  ];
  const box = ([dx, dy]: EN): Box => ({ x: x + dx - w / 2, y: y + dy - h / 2, w, h });
  const places = near.map(box).map((at): Spot => ({
    ...at,
    dear: ambiguous(at, [x, y], others) ? AMBIGUOUS_COST : 0,
  }));
  FAR.forEach((heights, step) => {
    for (let k = 0; k < DIRECTIONS; k += 1) {
      const angle = (k / DIRECTIONS) * Math.PI * 2;
      const reach = heights * h;
      const at = box([Math.cos(angle) * (reach + w / 2), -Math.sin(angle) * (reach + h / 2)]);
      const line = pointsOf(leaderOf(at, [x, y], others));
      const over = others.some((other) =>
        line.some((p) => Math.hypot(p[0] - other[0], p[1] - other[1]) < MARK_PX + 1),
      );
      places.push({ ...at, line, dear: FAR_COST + FARTHER_COST * step + (over ? AMBIGUOUS_COST : 0) });
    }
  });
  return places;
}

/** Points every few pixels along a line. */
function pointsOf(line: [EN, EN] | null): EN[] {
  if (!line) return [];
  const [[ax, ay], [bx, by]] = line;
  const steps = Math.ceil(Math.hypot(bx - ax, by - ay) / 3) || 1;
  return Array.from({ length: steps + 1 }, (_, i): EN => {
    const u = i / steps;
    return [ax + (bx - ax) * u, ay + (by - ay) * u];
  });
}
