// From messages to what the flight line draws: every figure in seconds since liftoff and shown units. Pure.
import type { CueNow, EventNow, HeadsUpNow, Now, Picture, Q, Story } from '../lib/messages';
import type { Point } from '../lib/past';
import { halfWidth, scaled, shifted } from '../lib/quantity';
import { lengthScale, speedScale, type Units } from '../lib/units';
import type { Ahead } from './timescale';

export interface PastPoint {
  t: number;
  height: number | null;
  climb: number | null;
  airspeed: number | null;
  carried: boolean;
  band: Q | null;
}

export interface FuturePoint {
  t: number;
  height: Q;
  climb: Q;
  airspeed: Q;
  bare: number;
}

export interface Flag {
  t: number;
  label: string;
  short: string;
  happened: boolean;
  /** Whether there is trouble with it, and whether it is to act on. */
  look: boolean;
  act: boolean;
}

/** A cue's limit in the second strip; over it when the station holds a heads-up about it. */
export interface CueMark {
  t: number;
  airspeed: number;
  limit: number;
  over: boolean;
  words: string;
}

export interface Chart {
  flight: number;
  /** Station time of liftoff, or of "if it lifted off now". */
  t0_s: number;
  lifted: boolean;
  burntOut: boolean;
  down: boolean;
  /** The vehicle's height as the station last said it. */
  height: Q | null;
  past: PastPoint[];
  /** The same path as it is known afterwards, where that was asked for. */
  hindsight: { t: number; height: number | null }[];
  future: FuturePoint[];
  apogee: { t: number; height: Q; passed: boolean } | null;
  hand: { t: number; height: number } | null;
  landing: Q | null;
  /** When it came to rest, once it has. */
  landedAt: number | null;
  bareGround: number | null;
  firstChute: number | null;
  flags: Flag[];
  marks: CueMark[];
  silentFrom: number | null;
  units: Units;
}

export interface ChartInput {
  now: Now;
  picture: Picture | null;
  story: Story | null;
  points: readonly Point[];
  hindsight?: readonly Point[] | undefined;
  units: Units;
}

/** Flags this close share one, s. */
export const SHARED_S = 0.3;
/** An event without a cue's name is taken for it if it is no farther from where the cue was expected, s. */
const SAME_S = 3;
/** Half an interval shorter than this is not written at the flag, s. */
const WORTH_SAYING_S = 1;

export function chartOf({ now, picture, story, points, hindsight = [], units }: ChartInput): Chart {
  const body = now.bodies[0];
  const path = picture?.flight === now.flight ? (picture.paths.find((p) => p.body === 0)?.knots ?? []) : [];
  const lifted = now.liftoff_t_s !== null;
  const t0_s = now.liftoff_t_s ?? path[0]?.t_s ?? now.t_s;
  const length = lengthScale(units).factor;
  const speed = speedScale(units).factor;
  const down = body?.phase === 'down';

  const future = path.map((k) => ({
    t: k.t_s - t0_s,
    height: scaled(k.height_m, length),
    climb: scaled(k.climb_mps, speed),
    airspeed: scaled(k.airspeed_mps, speed),
    bare: k.bare_height_m * length,
  }));
  const predicted = body?.apogee ?? null;
  const nowRel = now.t_s - t0_s;
  const apogee = predicted && {
    t: predicted.t_s.p50 - t0_s,
    height: scaled(predicted.height_m, length),
    passed: body?.phase === 'descending' || down,
  };
  const events = story?.flight === now.flight ? story.events.filter((e) => e.t_s <= now.t_s + 0.5) : [];
  // `now` leaves out what does not fit into it; the picture has every cue and every heads-up.
  const headsups =
    picture?.flight === now.flight && now.headsups_left_out > 0 ? picture.headsups : now.headsups;
  const cues =
    picture?.flight === now.flight && (picture.cues.length || now.cues_left_out > 0)
      ? picture.cues
      : now.cues;
  // The sum by hand knows no thrust: it says nothing before burnout.
  const coming = apogee && lifted && nowRel > 0 && body?.phase === 'coasting';
  const landed = down
    ? (events.find((e) => e.event === 'landing' && e.body === 0)?.t_s ?? lastMotion(points))
    : null;
  const until = Math.min(now.t_s, landed === null ? Infinity : landed + 0.5);
  // What was still thought to stand there after it had lifted off was not: the line goes from the pad to where it was seen.
  const moves = points.find((p) => p.t_s > t0_s && (p.height_m !== 0 || p.climb_mps !== 0))?.t_s ?? Infinity;
  const stood = (p: Point | undefined): boolean => !!p && p.t_s > t0_s && p.t_s < moves;
  const past = lifted
    ? points
        .filter((p) => p.t_s <= until && p.t_s >= t0_s - 2)
        .map((p, i, all) => (stood(p) && !stood(all[i - 1]) ? { ...p, t_s: t0_s } : p))
        .filter((p) => !stood(p))
    : [];
  const landing = body?.landing ? shifted(body.landing.t_s, -t0_s) : null;
  const chutes = cues.filter((c) => c.kind === 'chute').map((c) => ({ body: c.body, t: c.t_s.p50 - t0_s }));
  const after = chutes.filter((c) => !apogee || c.t >= apogee.t - 0.05);
  const own = after.filter((c) => c.body === 0);
  const firstChute =
    own.length || after.length ? Math.min(...(own.length ? own : after).map((c) => c.t)) : null;
  const ground = future.find((k, i) => i > 0 && k.bare <= 0 && k.t > (apogee?.t ?? 0));
  return {
    flight: now.flight,
    t0_s,
    lifted,
    burntOut:
      events.some((e) => e.event === 'burnout') ||
      ['coasting', 'descending', 'down'].includes(body?.phase ?? ''),
    down,
    height: body?.height_m ? scaled(body.height_m, length) : null,
    past: past.map((p) => ({
      t: p.t_s - t0_s,
      height: times(p.height_m, length),
      climb: times(p.climb_mps, speed),
      airspeed: times(p.airspeed_mps, speed),
      carried: p.carried,
      band: p.band && scaled(p.band, length),
    })),
    hindsight: hindsight.map((p) => ({ t: p.t_s - t0_s, height: times(p.height_m, length) })),
    future: down ? [] : future,
    apogee,
    hand:
      coming && predicted ? { t: predicted.hand_t_s - t0_s, height: predicted.hand_height_m * length } : null,
    landing: down ? null : landing,
    landedAt: landed === null ? null : landed - t0_s,
    bareGround: ground?.t ?? null,
    firstChute,
    flags: flagsOf(headsups, t0_s, events, cues, apogee, down ? null : landing),
    marks: marksOf(headsups, cues, t0_s, units),
    silentFrom: now.silent_since_s === null || down || !lifted ? null : now.silent_since_s - t0_s,
    units,
  };
}

export function aheadOf(chart: Chart, nowRel: number, narrow: boolean): Ahead {
  const knots = chart.future.at(-1);
  return {
    flight: chart.flight,
    burntOut: chart.burntOut,
    now: !chart.lifted ? 0 : Math.max(0, chart.landedAt ?? nowRel),
    down: chart.down,
    apogee: chart.apogee?.t ?? null,
    firstChute: chart.firstChute,
    landingLate: chart.landedAt ?? chart.landing?.p95 ?? knots?.t ?? null,
    share: narrow ? 0.36 : 0.28,
  };
}

/** When the line came to rest, for want of an event: after it nothing is worth drawing. */
function lastMotion(points: readonly Point[]): number | null {
  for (let i = points.length - 1; i > 0; i -= 1) {
    const p = points[i];
    if (p?.climb_mps != null && Math.abs(p.climb_mps) > 1) return p.t_s;
  }
  return points.at(-1)?.t_s ?? null;
}

function flagsOf(
  headsups: readonly HeadsUpNow[],
  t0_s: number,
  events: readonly EventNow[],
  cues: readonly CueNow[],
  apogee: Chart['apogee'],
  landing: Q | null,
): Flag[] {
  const flags: Flag[] = [];
  const has = (event: string): boolean => events.some((e) => e.event === event && e.body === 0);
  for (const e of events) {
    // Another piece's landing or restart has its place in the notice and on the ground, not on the Body's line.
    if (e.body !== 0 && e.event !== 'freed' && e.origin !== 'marked') continue;
    flags.push({
      t: e.t_s - t0_s,
      label: e.label,
      short: shorten(e.label),
      happened: true,
      look: false,
      act: false,
    });
  }
  for (const c of cues) {
    const t = c.t_s.p50 - t0_s;
    const about = c.passed ? [] : headsups.filter((h) => h.cue === c.cue);
    const look = about.length > 0;
    const act = about.some((h) => h.level === 'act');
    if (c.body !== 0 && !look) continue;
    if (c.passed && events.some((e) => e.label === c.name || (sameAs(c, e) && near(c, e)))) continue;
    flags.push({ t, label: c.name, short: shorten(c.name), happened: false, look, act });
  }
  if (apogee && !has('apogee')) {
    flags.push({ t: apogee.t, label: 'apogee', short: 'apogee', happened: false, look: false, act: false });
  }
  if (landing && !has('landing')) {
    const wide = (landing.p95 - landing.p05) / 2 >= WORTH_SAYING_S;
    const label = wide ? `down ± ${halfWidth(landing)} s` : 'down';
    flags.push({ t: landing.p50, label, short: 'down', happened: false, look: false, act: false });
  }
  return share(flags.sort((a, b) => a.t - b.t));
}

/** Whether an event came when a cue was expected. */
function near(cue: CueNow, event: EventNow): boolean {
  return Math.abs(event.t_s - cue.t_s.p50) < SAME_S;
}

/** Whether an event may be what a cue was about, though it does not bear its name. */
function sameAs(cue: CueNow, event: EventNow): boolean {
  switch (cue.kind) {
    case 'release':
    case 'separation':
      return (
        event.event === 'freed' &&
        (event.label.startsWith(cue.name.replace(/ out$/, '')) || event.body === cue.body)
      );
    case 'chute':
      return event.body === cue.body && (event.event === 'first_chute' || event.event === 'main_chute');
    case 'staging':
      return (
        event.body === cue.body && (event.event === 'stage_ignition' || event.event === 'third_ignition')
      );
  }
}

function shorten(label: string): string {
  return label.replace(/ out$/, '');
}

/** Flags within 0.3 s of one another become one; trouble stays by itself. */
function share(flags: readonly Flag[]): Flag[] {
  const shared: Flag[] = [];
  for (const flag of flags) {
    const last = shared.at(-1);
    if (last && !last.look && !flag.look && last.happened === flag.happened && flag.t - last.t <= SHARED_S) {
      last.label = `${last.label}, ${flag.short}`;
      last.short = `${last.short}, ${flag.short}`;
    } else {
      shared.push({ ...flag });
    }
  }
  return shared;
}

function marksOf(
  headsups: readonly HeadsUpNow[],
  cues: readonly CueNow[],
  t0_s: number,
  units: Units,
): CueMark[] {
  const scale = speedScale(units);
  return cues
    .filter((c) => c.limit_of === 'airspeed' && c.limit !== null && !c.passed)
    .map((c) => {
      const limit = (c.limit ?? 0) * scale.factor;
      const airspeed = c.airspeed_mps.p50 * scale.factor;
      const words = `${Math.round(airspeed)} ${scale.unit}, limit ${Math.round(limit)} ${scale.unit}`;
      return { t: c.t_s.p50 - t0_s, airspeed, limit, over: headsups.some((h) => h.cue === c.cue), words };
    });
}

function times(value: number | null, factor: number): number | null {
  return value === null ? null : value * factor;
}
