// From messages to what the ground plan draws: areas, tracks, predicted tracks and where to write their names. Pure.
import type { LandingArea, Now, Picture, SiteInfo } from '../lib/messages';
import type { Past, Point } from '../lib/past';
import { placeLabels, type Box, type Label } from '../flight-line/labels';
import { axesOf, NINE_TENTHS, reach, type Axes } from './ellipse';
import { leaderOf, MARK_PX, placesAt } from './marks';
import { xOf, yOf, type EN, type Plan } from './view';

export interface LandingShape {
  body: number;
  name: string;
  bare: boolean;
  centre: EN;
  axes: Axes | null;
  /** Radii of the rings of least area when the heading is unknown: inner of 90 and 50 %, outer of 50 and 90 %, m; inner 0 is a disc. */
  ring: [number, number, number, number] | null;
}

export interface Trail {
  body: number;
  /** Where it was, as far as that is known; `unknown` joins the stretches. */
  past: EN[][];
  unknown: EN[][];
  ahead: EN[];
  here: EN | null;
  carried: boolean;
  /** Whether its name stands at its mark: once the vehicle lies, or where no area bears it. */
  named: boolean;
}

export interface Ground {
  landings: LandingShape[];
  trails: Trail[];
}

/** Tracks of more points than this are thinned. */
const MOST = 240;
/** What is farther from the pad than this does not widen the plan, m. */
const FAR_M = 3000;

/** `lies` says which bodies are known to be down: of them no landing is foreseen any more. */
export function groundOf(
  now: Now,
  picture: Picture | null,
  past: Past,
  lies: readonly boolean[] = now.bodies.map((body) => body.phase === 'down'),
): Ground {
  const current = picture?.flight === now.flight ? picture : null;
  const main = now.bodies[0];
  // While the Body flies as planned, "if nothing deploys" stands for it; on the ground there is nothing left to deploy.
  const shown = (current?.landings ?? []).filter((l) => {
    const body = now.bodies[l.body];
    if (!body || lies[l.body]) return false;
    return l.case === 'planned' || (l.case === 'ballistic' && l.body === 0 && main?.phase !== 'down');
  });
  const landings = shown.map((l) => shapeOf(l, now));
  const trails: Trail[] = now.bodies.flatMap((body, index) => {
    if (body.attached) return [];
    const knots = body.phase === 'down' ? [] : (current?.paths.find((p) => p.body === index)?.knots ?? []);
    const landed = knots.findIndex((k, i) => i > 0 && k.height_m.p50 <= 0 && k.climb_mps.p50 <= 0);
    const aloft = (landed < 0 ? knots : knots.slice(0, landed + 1)).filter((k) => k.t_s >= now.t_s);
    const here = body.east_north_m;
    return [
      {
        body: index,
        ...runsOf(past.of(index).filter((p) => p.t_s <= now.t_s)),
        ahead: here && now.liftoff_t_s !== null ? [here, ...aloft.map((k) => k.east_north_m)] : [],
        here,
        carried: body.carried_s > now.stale_after_s,
        named: main?.phase === 'down' || !landings.some((l) => l.body === index && !l.bare),
      },
    ];
  });
  return { landings, trails };
}

/** Stretches in which the place was known, thinned, and what joins them: nothing is drawn as known where it was not. */
function runsOf(points: readonly Point[]): { past: EN[][]; unknown: EN[][] } {
  const every = Math.max(1, Math.ceil(points.length / MOST));
  const past: EN[][] = [];
  const unknown: EN[][] = [];
  let run: EN[] | null = null;
  let before: EN | null = null;
  points.forEach((point, i) => {
    const here = point.east_north_m;
    if (here && !run) {
      past.push((run = [here]));
      if (before) unknown.push([before, here]);
    } else if (here && run && (i % every === 0 || !points[i + 1]?.east_north_m)) {
      run.push(here);
    } else if (!here) {
      run = null;
    }
    before = here ?? before;
  });
  return { past, unknown };
}

function shapeOf(landing: LandingArea, now: Now): LandingShape {
  const bare = landing.case === 'ballistic';
  const name = bare ? 'if nothing deploys' : (now.bodies[landing.body]?.name ?? '');
  const base = { body: landing.body, name, bare };
  if ('ellipse' in landing.area) {
    const { centre_m, covariance_m2 } = landing.area.ellipse;
    return { ...base, centre: centre_m, axes: axesOf(covariance_m2), ring: null };
  }
  const { centre_m, radius_m } = landing.area.ring;
  return {
    ...base,
    centre: centre_m,
    axes: null,
    ring: [Math.max(0, radius_m.p05), Math.max(0, radius_m.p25), radius_m.p75, radius_m.p95],
  };
}

/** Everything that must be on the plan. */
export function mustShow(ground: Ground, site: SiteInfo | null, down: boolean, here: EN | null = null): EN[] {
  const points: EN[] = [];
  for (const l of ground.landings) {
    const r = l.ring ? l.ring[3] : NINE_TENTHS * (l.axes?.major ?? 0);
    points.push([l.centre[0] - r, l.centre[1] - r], [l.centre[0] + r, l.centre[1] + r]);
  }
  for (const t of ground.trails) {
    points.push(...t.past.flat(), ...t.ahead);
    if (t.here) points.push(t.here);
  }
  // Who sits at home must not make the range a dot.
  if (here && Math.hypot(...here) < FAR_M) points.push(here);
  // The nearest point of each line of people: far ends may be cut off.
  for (const area of down ? [] : (site?.areas ?? [])) {
    const nearest = [...area.points_m].sort((a, b) => Math.hypot(...a) - Math.hypot(...b))[0];
    if (area.kind === 'people' && nearest && Math.hypot(...nearest) < FAR_M) points.push(nearest);
  }
  return points;
}

export interface Name {
  key: string;
  words: string;
  x: number;
  y: number;
  w: number;
  h: number;
  soft: boolean;
  strong: boolean;
  place: number;
  /** From the name to its mark, where it does not stand at it. */
  leader: [EN, EN] | null;
}

/** Names at the edges of areas, at the pad and on the rings, so that none covers another. */
export function namesOn(
  plan: Plan,
  ground: Ground,
  site: SiteInfo | null,
  ringWords: (metres: number) => string,
  measure: (words: string, strong: boolean) => number,
  text: number,
  before: ReadonlyMap<string, number>,
  here: EN | null = null,
): Name[] {
  const h = text * 1.15;
  const asked: (Label & { words: string; soft: boolean; strong: boolean })[] = [];
  const ask = (
    key: string,
    words: string,
    centres: EN[],
    soft = false,
    strong = false,
    optional = false,
  ): void => {
    const width = measure(words, strong) + 4;
    asked.push({
      key,
      words,
      soft,
      strong,
      optional,
      width,
      height: h,
      places: centres.map(([x, y]) => ({ x: x - width / 2, y: y - h / 2 })),
    });
  };
  const px = ([e, n]: EN): EN => [xOf(plan, e), yOf(plan, n)];
  const pad = px([0, 0]);
  const beside = (words: string, strong = false): number => measure(words, strong) / 2 + text * 0.8;
  ask('pad', 'pad', [
    [pad[0] - beside('pad'), pad[1]],
    [pad[0] + beside('pad'), pad[1]],
    [pad[0], pad[1] + h],
  ]);
  const marks = ground.trails.flatMap((t) => (t.here ? [{ body: t.body, at: px(t.here) }] : []));
  const othersOf = (body: number): EN[] => marks.filter((m) => m.body !== body).map((m) => m.at);
  for (const l of ground.landings) {
    if (!l.bare && ground.trails.some((t) => t.body === l.body && t.named && t.here)) continue;
    const [cx, cy] = px(l.centre);
    const w = measure(l.name, l.body === 0);
    // On rings, which share a middle, each piece begins at another side.
    const turn = l.ring ? l.body * 1.3 : 0;
    const at: EN[] = [
      -0.3,
      0.1,
      0.5,
      -0.9,
      0.9,
      Math.PI,
      2.5,
      -2.5,
      1.57,
      -1.57,
      0.3,
      -0.6,
      1.2,
      -1.2,
      2,
      -2,
    ].map((base) => {
      const angle = base + turn;
      const r = (l.ring ? l.ring[3] : NINE_TENTHS * (l.axes ? reach(l.axes, angle) : 0)) * plan.scale;
      const out = r + 4;
      const dx = Math.cos(angle);
      return [
        cx + dx * out + Math.sign(Math.round(dx * 10)) * (w / 2),
        cy - Math.sin(angle) * (out + h * 0.35),
      ];
    });
    ask(
      `${l.name}${l.body}`,
      l.name,
      l.bare ? [...at.slice(5), ...at.slice(0, 5)] : l.body === 0 ? [...at.slice(5, 8), ...at] : at,
      false,
      l.body === 0 && !l.bare,
    );
  }
  for (const t of ground.trails) {
    if (!t.named || !t.here) continue;
    const words = site?.bodies[t.body]?.name ?? '';
    const strong = t.body === 0;
    const width = measure(words, strong) + 4;
    asked.push({
      key: `here ${t.body}`,
      words,
      soft: false,
      strong,
      width,
      height: h,
      places: placesAt(px(t.here), othersOf(t.body), width, h),
    });
  }
  if (here) {
    const [x, y] = px(here);
    const off = beside('you');
    ask('you', 'you', [
      [x + off, y],
      [x - off, y],
      [x, y + h * 1.3],
      [x, y - h * 1.3],
    ]);
  }
  for (const area of site?.areas ?? []) {
    const middle = area.closed
      ? area.points_m.reduce<EN>(
          (a, b) => [a[0] + b[0] / area.points_m.length, a[1] + b[1] / area.points_m.length],
          [0, 0],
        )
      : null;
    const ends = area.points_m.map((p, i): EN => {
      const next = area.points_m[i + 1] ?? p;
      return [(p[0] + next[0]) / 2, (p[1] + next[1]) / 2];
    });
    const spots = (middle ? [middle, ...area.points_m] : ends).map(px);
    const on = spots.filter(([x, y]) => x > 0 && x < plan.width && y > 0 && y < plan.height);
    if (on.length)
      ask(
        `area ${area.name}`,
        area.name,
        on.flatMap(([x, y]): EN[] =>
          middle
            ? [[x, y]]
            : [
                [x, y + h * 0.9],
                [x, y - h * 0.9],
              ],
        ),
        false,
        false,
        area.closed,
      );
  }
  for (const r of plan.rings) {
    const angles = [
      -0.07,
      Math.PI + 0.07,
      -0.4,
      0.3,
      0.6,
      -0.7,
      0.9,
      Math.PI - 0.6,
      1.2,
      1.5,
      -1.2,
      -1.5,
      2.2,
    ];
    const spots = angles.map((a): EN => [
      pad[0] + Math.cos(a) * r * plan.scale,
      pad[1] - Math.sin(a) * r * plan.scale,
    ]);
    const on = spots.filter(
      ([x, y]) => x > text * 2 && x < plan.width - text * 2 && y > text && y < plan.height - text,
    );
    if (on.length) ask(`ring ${r}`, ringWords(r), on, true, false, true);
  }
  const lines: [number, number][] = spaced(
    ground.landings.flatMap((l) => edgePoints(l).map((p) => px(p) as [number, number])),
  );
  for (const t of ground.trails)
    lines.push(...spaced([...t.past.flat(), ...t.ahead].map((p) => px(p) as [number, number])));
  for (const area of site?.areas ?? []) lines.push(...along(area.points_m.map(px), area.closed));
  const fixed: Box[] = [
    { x: pad[0] - 8, y: pad[1] - 8, w: 16, h: 16 },
    ...marks.map(({ at: [x, y] }) => ({
      x: x - MARK_PX,
      y: y - MARK_PX,
      w: 2 * MARK_PX,
      h: 2 * MARK_PX,
    })),
    ...(here ? [{ x: px(here)[0] - 9, y: px(here)[1] - 9, w: 18, h: 18 }] : []),
    { x: plan.width - text * 1.6, y: 0, w: text * 1.6, h: text * 2.6 },
  ];
  const bounds = { x: 0, y: 0, w: plan.width, h: plan.height };
  return placeLabels(asked, fixed, lines, bounds, before).flatMap((p) => {
    const from = asked.find((a) => a.key === p.key);
    const mark = marks.find((m) => p.key === `here ${m.body}`);
    const leader = mark ? leaderOf(p, mark.at, othersOf(mark.body)) : null;
    return from ? [{ ...p, words: from.words, soft: from.soft, strong: from.strong, leader }] : [];
  });
}

/** Points every few pixels along the edges of an area. */
function along(corners: readonly EN[], closed: boolean): [number, number][] {
  const out: [number, number][] = [];
  corners.forEach((from, i) => {
    const to = corners[i + 1] ?? (closed ? corners[0] : undefined);
    if (!to) return;
    const steps = Math.min(200, Math.ceil(Math.hypot(to[0] - from[0], to[1] - from[1]) / 8));
    for (let k = 0; k <= steps; k += 1) {
      const u = k / Math.max(1, steps);
      out.push([from[0] + (to[0] - from[0]) * u, from[1] + (to[1] - from[1]) * u]);
    }
  });
  return out;
}

/** Points at least a few pixels apart, so that a slow piece's track does not outweigh everything. */
function spaced(points: [number, number][]): [number, number][] {
  const out: [number, number][] = [];
  for (const p of points) {
    const last = out.at(-1);
    if (!last || Math.hypot(p[0] - last[0], p[1] - last[1]) >= 6) out.push(p);
  }
  return out;
}

function edgePoints(l: LandingShape): EN[] {
  return Array.from({ length: 24 }, (_, i): EN => {
    const a = (i / 24) * Math.PI * 2;
    const r = l.ring ? l.ring[3] : NINE_TENTHS * (l.axes ? reach(l.axes, a) : 0);
    return [l.centre[0] + r * Math.cos(a), l.centre[1] + r * Math.sin(a)];
  });
}
