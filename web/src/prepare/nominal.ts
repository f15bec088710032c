// Where things stand in the picture of the nominal flight: one scale for both axes, so that a lean is seen as it is.
import { together } from '../flight-line/flags';
import type { Drawn, GroundCase, NominalPicture } from '../lib/messages';

export interface Frame {
  width: number;
  height: number;
  /** Pixels per metre, both axes. */
  scale: number;
  x: (away_m: number) => number;
  y: (height_m: number) => number;
  /** Metres between two lines of the grid. */
  step: number;
  left_m: number;
  right_m: number;
  top_m: number;
}

/** 1, 2, 2.5, 5 times a power of ten in the unit that is shown (`shown` of it are a metre): the next one at or above. */
export function roundStep(value: number, shown = 1): number {
  const power = 10 ** Math.floor(Math.log10(Math.max(value * shown, 1e-9)));
  const nice = [1, 2, 2.5, 5, 10].find((n) => n * power >= value * shown * 0.999) ?? 10;
  return (nice * power) / shown;
}

const MARGIN = { left: 8, right: 8, top: 34, bottom: 30 };

/** Fits everything that is drawn into a width, within a range of heights. */
export function frameOf(picture: NominalPicture, given: number, most: number, shown = 1): Frame {
  // Before it is laid out a figure has no width.
  const width = Math.max(given, 240);
  const paths = [picture.nominal, picture.worst, ...picture.others];
  const points = paths.flat();
  const band = picture.band.flatMap(({ centre_m: [a, h], covariance_m2: [aa, , hh] }) => [
    { away_m: a - 2.146 * Math.sqrt(aa), height_m: h + 2.146 * Math.sqrt(hh) },
    { away_m: a + 2.146 * Math.sqrt(aa), height_m: h },
  ]);
  const all = [...points, ...band, { away_m: 0, height_m: 0 }];
  const least = Math.min(...all.map((p) => p.away_m));
  const far = Math.max(...all.map((p) => p.away_m));
  const top = Math.max(10, ...all.map((p) => p.height_m));
  const wide = Math.max(far - least, 0.4 * top, 10);
  const across = (width - MARGIN.left - MARGIN.right) / wide;
  const up = (most - MARGIN.top - MARGIN.bottom) / top;
  const scale = Math.min(across, up);
  const height = top * scale + MARGIN.top + MARGIN.bottom;
  // What is left of the width is shared out to both sides.
  const spare = (width - MARGIN.left - MARGIN.right - wide * scale) / 2;
  const left_m = least - spare / scale;
  return {
    width,
    height,
    scale,
    x: (away_m) => MARGIN.left + (away_m - left_m) * scale,
    y: (height_m) => height - MARGIN.bottom - height_m * scale,
    step: roundStep(90 / scale, shown),
    left_m,
    right_m: far + spare / scale,
    top_m: top,
  };
}

export function pathOf(frame: Frame, points: readonly Drawn[]): string {
  return points
    .map((p, i) => `${i ? 'L' : 'M'}${frame.x(p.away_m).toFixed(1)} ${frame.y(p.height_m).toFixed(1)}`)
    .join('');
}

/** Points of one kind that stand within a reach of each other get one label: "Cam A, B, C out". */
export function gathered<T extends { px: number; py: number; words: string }>(
  points: readonly T[],
  reach: number,
): T[] {
  const kind = (words: string): string | undefined => words.match(/ (\S+)$/)?.[1];
  const all: T[] = [];
  for (const point of points) {
    const at = all.findIndex(
      (o) =>
        kind(o.words) !== undefined &&
        kind(o.words) === kind(point.words) &&
        Math.hypot(o.px - point.px, o.py - point.py) <= reach,
    );
    const other = all[at];
    if (other) all[at] = { ...other, words: together(other.words, point.words) };
    else all.push(point);
  }
  return all;
}

/** Labels beside their points, moved down until none covers another. */
export function placed<T extends { x: number; y: number; width: number }>(
  labels: readonly T[],
  line: number,
): (T & { at: number })[] {
  const done: (T & { at: number })[] = [];
  for (const label of [...labels].sort((a, b) => a.y - b.y)) {
    let at = label.y;
    for (let round = 0; round < 40; round += 1) {
      const hit = done.find(
        (d) => Math.abs(d.at - at) < line && label.x < d.x + d.width + 6 && d.x < label.x + label.width + 6,
      );
      if (!hit) break;
      at = hit.at + line;
    }
    done.push({ ...label, at });
  }
  return done;
}

/** Marks of an axis from one end to the other; none where there is no room to speak of. */
export function marks(from: number, to: number, step: number): number[] {
  if (!(step > 0) || !((to - from) / step < 200)) return [];
  const first = Math.ceil(from / step - 1e-9);
  const last = Math.floor(to / step + 1e-9);
  return Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => (first + i) * step);
}

/** What must be seen on the ground plan, m east and north: the pad, all landings at 90 %, and the areas near them. */
export function extent(ground: readonly GroundCase[], areas: readonly (readonly [number, number])[]): number {
  const reach = ground.map(({ centre_m: [e, n], covariance_m2: [ee, , nn] }) =>
    Math.max(Math.abs(e) + 2.146 * Math.sqrt(ee), Math.abs(n) + 2.146 * Math.sqrt(nn)),
  );
  const landing = Math.max(50, ...reach);
  const near = areas.map(([e, n]) => Math.max(Math.abs(e), Math.abs(n))).filter((m) => m < 2 * landing);
  return Math.max(landing, ...near) * 1.05;
}
