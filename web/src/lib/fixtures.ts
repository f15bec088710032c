// Messages made for tests: a coasting flight of one vehicle with one camera, changed as each test needs.
import type {
  BodyNow,
  CheckNow,
  CompassNow,
  CueNow,
  HeadsUpNow,
  Now,
  Origin,
  Q,
  SiteInfo,
  Story,
} from './messages';

export function q(p50: number, half = 1): Q {
  return { p05: p50 - half, p25: p50 - half * 0.41, p50, p75: p50 + half * 0.41, p95: p50 + half };
}

export const T0 = 1_795_600_000;

export function body(change: Partial<BodyNow> = {}): BodyNow {
  return {
    name: 'Body',
    attached: false,
    transmitter: true,
    phase: 'coasting',
    descent: null,
    heard_t_s: T0 + 6.3,
    carried_s: 0.1,
    at_t_s: T0 + 6.4,
    height_m: q(360, 3),
    climb_mps: q(33, 3),
    airspeed_mps: q(50, 3),
    ground_speed_mps: q(40, 3),
    lean_rad: q(0.9, 0.05),
    east_north_m: [30, 60],
    position_radius_m: 5,
    mach: 0.15,
    apogee: {
      height_m: q(412, 9),
      t_s: q(T0 + 9.6, 0.2),
      airspeed_mps: q(10, 3),
      ground_speed_mps: q(12, 3),
      hand_height_m: 416,
      hand_t_s: T0 + 9.8,
    },
    landing: { t_s: q(T0 + 60, 5), east_north_m: [450, 450], descent_mps: q(6, 1) },
    fix: { latitude_deg: 38.254, longitude_deg: -117.345, t_s: T0 + 6 },
    next: [
      [T0 + 6.4, 360, 33, 50],
      [T0 + 7.4, 388, 24, 45],
    ],
    ...change,
  };
}

export function now(change: Partial<Now> = {}): Now {
  return {
    mode: 'live',
    replay_of: null,
    t_s: T0 + 6.4,
    played_s: null,
    speed: 1,
    utc_s: T0 + 6.4,
    flight: 1,
    flight_name: '',
    vehicle: 'Tall Order',
    site: 'Dry Lake North pad',
    liftoff_t_s: T0,
    ended_t_s: null,
    silent_since_s: null,
    not_kept_since_s: null,
    disk: null,
    disk_room_s: null,
    lost_bytes: 0,
    stale_after_s: 1.1,
    bodies: [
      body(),
      body({
        name: 'Cam A',
        attached: true,
        height_m: null,
        apogee: null,
        landing: null,
        fix: null,
        east_north_m: null,
      }),
    ],
    headsups: [],
    headsups_left_out: 0,
    cues: [],
    cues_left_out: 0,
    ...change,
  };
}

export function cue(change: Partial<CueNow> = {}): CueNow {
  return {
    cue: 0,
    name: 'Cam A out',
    kind: 'release',
    body: 0,
    t_s: q(T0 + 7.6, 0.1),
    height_m: 390,
    airspeed_mps: q(43, 2),
    limit: 25,
    limit_of: 'airspeed',
    figure: null,
    limit_from: 'told by crew',
    over_limit: 0.97,
    passed: false,
    ...change,
  };
}

export function headsUp(change: Partial<HeadsUpNow> = {}): HeadsUpNow {
  return {
    key: 'cue_airspeed:Cam A out',
    level: 'look',
    cue: 0,
    body: 0,
    figure: 43,
    limit: 25,
    unit: 'm/s',
    limit_from: 'told by crew',
    words: 'Cam A goes out in 1.2 s into 43 m/s of air. Its limit is 25 m/s.',
    ...change,
  };
}

export const COMPASS: CompassNow = {
  declination_deg: 12.1,
  sd_deg: 0.36,
  caution: false,
  model: 'WMM2025',
  date: '2026-11-26',
};

export function story(
  events: [event: string, t: number, body?: number, origin?: Origin][] = [
    ['liftoff', 0],
    ['rail_exit', 0.4],
    ['burnout', 2.4],
  ],
): Story {
  return {
    flight: 1,
    events: events.map(([event, t, of = 0, origin = 'detected'], id) => ({
      id,
      body: of,
      event,
      label: event.replace('_', ' '),
      t_s: T0 + t,
      sd_s: 0.05,
      origin,
      who: null,
    })),
    radio: [],
    links: [
      { name: 'mast serial', up: true, reason: '', bytes: 4096, no_frame: false, wrong: 0 },
      { name: 'truck serial', up: true, reason: '', bytes: 4096, no_frame: false, wrong: 0 },
    ],
    passing: [],
    ground: { compass: COMPASS, pieces: [] },
    readiness: [],
    accepted: [],
  };
}

/** A check within limits. */
export function check(change: Partial<CheckNow> = {}): CheckNow {
  return {
    key: 'a',
    body: 0,
    what: 'Body battery',
    figure: '7.60 V',
    since_t_s: null,
    limit: 'at least 7.40 V',
    limit_from: 'told by crew',
    level: null,
    words: '',
    accepted_by: null,
    accepted_why: null,
    ...change,
  };
}

export const SITE: SiteInfo = {
  site: 'Dry Lake North pad',
  vehicle: 'Tall Order',
  latitude_deg: 38.25,
  longitude_deg: -117.35,
  elevation_m: 1210,
  areas: [
    {
      name: 'crowd line',
      kind: 'people',
      points_m: [
        [-420, 60],
        [-60, -120],
        [420, -120],
      ],
      closed: false,
    },
  ],
  bodies: [
    { name: 'Body', parent: null },
    { name: 'Cam A', parent: 0 },
  ],
  defaults: [],
  cues: [],
};
