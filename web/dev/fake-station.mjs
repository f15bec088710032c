// A stand-in for the station while pages are written: plays an invented flight over the same socket and addresses.
//   node dev/fake-station.mjs [--port 8790] [--at S] [--rate R] [--silent FROM,TO] [--lean straight] [--units ...]
// `--at` is the time since liftoff at which it begins (negative: on the pad), `--rate 0` holds it there.
import { createServer } from 'node:http';
import { WebSocketServer } from 'ws';
import { NAMES, makeFlight, stateAt } from './flight.mjs';

const option = (name, otherwise) => {
  const i = process.argv.indexOf(`--${name}`);
  return i < 0 ? otherwise : process.argv[i + 1];
};
const port = Number(option('port', 8790));
const begin = Number(option('at', -8));
const liveRate = Number(option('rate', 1));
const [silentFrom, silentTo] = option('silent', '1e9,1e9').split(',').map(Number);
const flight = makeFlight(option('lean', 'badly'));
const paths = [flight.body, ...flight.cams];
const began = Date.now() / 1000;
const LIFTOFF = began - begin;

const q = (x, sd) => ({
  p05: x - 1.645 * sd,
  p25: x - 0.674 * sd,
  p50: x,
  p75: x + 0.674 * sd,
  p95: x + 1.645 * sd,
});
const lastHeard = (s) => (s > silentFrom && s < silentTo ? silentFrom : s - 0.06);
/** What is not yet known at `s` about a moment `ahead` seconds later: shrinks with coast, grows with reach and silence. */
const doubt = (s, ahead) => {
  const heard = Math.max(0.2, lastHeard(s));
  const gap = s - heard;
  return (0.6 + 14 / (1 + heard * heard) + gap * 1.2) * Math.min(2.2, 0.35 + Math.max(0, ahead) / 7);
};
const freed = (i, s) => i === 0 || s >= flight.out[i - 1];
const phaseOf = (i, s) => {
  const own = freed(i, s) ? i : 0;
  if (s < 0) return 'waiting';
  if (s >= paths[own].end) return 'down';
  if (s < flight.burnout) return 'powered';
  return s < flight.apogee ? 'coasting' : 'descending';
};

function bodyNow(i, s) {
  const attached = !freed(i, s);
  const t = LIFTOFF + s;
  const state = s < 0 ? [0, 0, 0, 0, 0, 0, 0] : stateAt(paths[i], s);
  const own = doubt(s, 0);
  const phase = phaseOf(i, s);
  const flying = !attached;
  const speed = Math.hypot(state[4], state[5]);
  const end = paths[i].end;
  const place = s >= end ? paths[i].state.at(-1) : state;
  const landing = paths[i].state.at(-1);
  const done = s > flight.apogee ? flight.apogee : s;
  return {
    name: NAMES[i],
    attached,
    transmitter: true,
    phase,
    descent:
      phase !== 'descending'
        ? null
        : i > 0
          ? s > flight.out[i - 1] + 1.5
            ? 'main'
            : 'bare'
          : s > flight.main
            ? 'main'
            : s > flight.drogue
              ? 'drogue'
              : null,
    heard_t_s: LIFTOFF + lastHeard(s) - i * 0.07,
    carried_s: s - lastHeard(s),
    at_t_s: flying ? t : null,
    height_m: flying ? q(state[0], s < 0 ? 0.3 : own) : null,
    climb_mps: flying ? q(state[3], s < 0 ? 0.1 : own * 0.8) : null,
    airspeed_mps: flying ? q(state[6], own) : null,
    ground_speed_mps: flying ? q(speed, own) : null,
    lean_rad:
      flying && s > flight.railExit && s < flight.apogee - 2
        ? q(Math.atan2(Math.hypot(state[4] - 4.2, state[5] - 1.5), state[3]), own * 0.03)
        : null,
    east_north_m: flying ? [place[1], place[2]] : null,
    position_radius_m: flying ? 6 : null,
    mach: flying ? state[6] / 340 : null,
    apogee:
      i === 0
        ? {
            height_m: q(stateAt(flight.body, flight.apogee)[0], doubt(done, flight.apogee - done) * 1.4),
            t_s: q(LIFTOFF + Math.min(s, 0) + flight.apogee, doubt(done, flight.apogee - done) * 0.05),
            airspeed_mps: q(stateAt(flight.body, flight.apogee)[6], doubt(done, flight.apogee - done) * 0.6),
            ground_speed_mps: q(37, 2),
            hand_height_m: state[0] + state[3] ** 2 / 19.6,
            hand_t_s: t + state[3] / 9.8,
          }
        : null,
    landing: flying
      ? {
          t_s: q(LIFTOFF + Math.min(s, 0) + end, doubt(s, end - s)),
          east_north_m: [landing[1], landing[2]],
          descent_mps: q(-paths[i].state.at(-1)[3], 0.4),
        }
      : null,
    fix:
      s < 0
        ? null
        : {
            latitude_deg: 38.25 + place[2] / 111000,
            longitude_deg: -117.35 + place[1] / 87600,
            t_s: t - 0.4 - i,
          },
    next:
      flying && s >= 0
        ? Array.from({ length: 9 }, (_, j) => {
            const x = stateAt(paths[i], s + j * 0.25);
            return [t + j * 0.25, x[0], x[3], x[6]];
          })
        : [],
  };
}

const CUES = [
  ['Cam A out', 'release', 0, flight.out[0], 25],
  ['Cam B out', 'release', 0, flight.out[1], null],
  ['Cam C out', 'release', 0, flight.out[2], null],
  ['drogue out', 'chute', 0, flight.drogue, 45],
  ['main out', 'chute', 0, flight.main, null],
  ['Cam A chute', 'chute', 1, flight.out[0] + 1.5, null],
  ['Cam B chute', 'chute', 2, flight.out[1] + 1.5, null],
  ['Cam C chute', 'chute', 3, flight.out[2] + 1.5, null],
];
const cuesAt = (s) =>
  CUES.map(([name, kind, body, at, limit], cue) => {
    const state = stateAt(paths[body], at - 0.02);
    return {
      cue,
      name,
      kind,
      body,
      t_s: q(LIFTOFF + Math.min(s, 0) + at, doubt(s, at - s) * 0.05),
      height_m: state[0],
      airspeed_mps: q(state[6], doubt(s, at - s) * 0.5),
      limit,
      limit_of: limit ? 'airspeed' : null,
      figure: null,
      limit_from: limit ? 'told by crew' : '',
      over_limit: limit ? (state[6] > limit ? 0.97 : 0.02) : null,
      passed: s > at,
    };
  });
const headsupsAt = (s) =>
  cuesAt(s)
    .filter((c) => c.limit && c.airspeed_mps.p50 > c.limit && s > flight.burnout && !c.passed)
    .map((c) => ({
      key: `cue_airspeed:${c.name}`,
      level: 'look',
      cue: c.cue,
      body: c.body,
      figure: c.airspeed_mps.p50,
      limit: c.limit,
      unit: 'm/s',
      limit_from: c.limit_from,
      words: `Cam A goes out in ${(c.t_s.p50 - LIFTOFF - s).toFixed(1)} s into ${c.airspeed_mps.p50.toFixed(0)} m/s of air. Its limit is ${c.limit} m/s.`,
    }));

function now(s, mode, speed) {
  const silent = s > silentFrom + 1.2 && s < silentTo;
  const flying = s >= 0;
  return {
    kind: 'now',
    mode,
    replay_of: mode === 'replay' ? '14:07' : null,
    played_s: null,
    t_s: LIFTOFF + s,
    speed,
    utc_s: LIFTOFF + s,
    flight: 1,
    flight_name: '',
    vehicle: 'Tall Order',
    site: 'Dry Lake North pad',
    liftoff_t_s: flying ? LIFTOFF : null,
    ended_t_s: null,
    silent_since_s: silent ? LIFTOFF + silentFrom : null,
    not_kept_since_s: null,
    disk_room_s: null,
    lost_bytes: 0,
    disk: null,
    stale_after_s: 1.1,
    bodies: NAMES.map((_, i) => bodyNow(i, s)),
    headsups: headsupsAt(s),
    headsups_left_out: 0,
    cues: cuesAt(s),
    cues_left_out: 0,
  };
}

function picture(s) {
  const shown = NAMES.map((_, i) => i).filter((i) => freed(i, s) || i > 0);
  const pathOf = (i) => {
    const from = Math.max(s, paths[i].t[0], 0);
    const times = [];
    for (let t = from; t < paths[i].end + 12; t += t < flight.drogue + 3 ? 0.3 : 1.5) times.push(t);
    const base = s < 0 ? s : 0;
    return {
      body: i,
      knots: times.map((t) => {
        const x = stateAt(paths[i], t);
        const late = Math.max(0, t - flight.drogue);
        const wide = doubt(s, t - s) + late * 0.25;
        const h = q(x[0], wide);
        for (const k of Object.keys(h)) h[k] = Math.max(0, h[k]);
        if (t > paths[i].end) {
          h.p50 = h.p25 = h.p05 = 0;
          h.p95 = Math.max(0, wide * 1.6 - (t - paths[i].end) * 5);
          h.p75 = Math.max(0, h.p95 * 0.4 - 2);
        }
        return {
          t_s: LIFTOFF + t + base,
          height_m: h,
          climb_mps: q(x[3], wide * 0.4),
          airspeed_mps: q(x[6], wide * 0.4),
          east_north_m: [x[1], x[2]],
          bare_height_m: Math.max(0, stateAt(flight.bare, t)[0]),
        };
      }),
    };
  };
  const spread = 12 + doubt(s, 12) * 5;
  const area = (i, scale) => {
    const e = paths[i].state.at(-1);
    const a = (spread * scale) ** 2;
    return { ellipse: { centre_m: [e[1], e[2]], covariance_m2: [a, a * 0.25 * (i % 2 ? 1 : -1), a * 0.7] } };
  };
  const planned = shown.map((i) => ({
    body: i,
    case: 'planned',
    t_s: q(LIFTOFF + paths[i].end, 3),
    descent_mps: q(6, 0.4),
    area: s < 3 ? { ring: { centre_m: [60, 20], radius_m: q(330 + i * 20, 60) } } : area(i, i ? 1.2 : 1),
  }));
  const bareEnd = flight.bare.state.at(-1);
  const bare = {
    body: 0,
    case: 'ballistic',
    t_s: q(LIFTOFF + flight.bare.end, 1),
    descent_mps: q(80, 4),
    area: { ellipse: { centre_m: [bareEnd[1], bareEnd[2]], covariance_m2: [spread * 20, 0, spread * 16] } },
  };
  return {
    kind: 'picture',
    t_s: LIFTOFF + s,
    flight: 1,
    paths: s > flight.body.end ? [] : shown.map(pathOf),
    landings: s < flight.body.end ? [...planned, bare] : planned,
    cues: cuesAt(s),
    headsups: headsupsAt(s),
  };
}

const EVENTS = [
  [0, 'liftoff', 'liftoff', 0],
  [0, 'rail_exit', 'rail exit', flight.railExit],
  [0, 'burnout', 'burnout', flight.burnout],
  [0, 'apogee', 'apogee', flight.apogee],
  [1, 'freed', 'Cam A out', flight.out[0]],
  [2, 'freed', 'Cam B out', flight.out[1]],
  [3, 'freed', 'Cam C out', flight.out[2]],
  [0, 'first_chute', 'drogue', flight.drogue + 0.3],
  [0, 'main_chute', 'main', flight.main + 0.5],
  ...NAMES.map((n, i) => [i, 'landing', i ? `${n} down` : 'landing', paths[i].end]),
];
function piece(i, s) {
  const [, east, north] = paths[i].state.at(-1);
  const azimuth = (Math.atan2(east, north) * 180) / Math.PI;
  return {
    body: i,
    carried_by: null,
    down: s >= paths[i].end,
    place: {
      latitude_deg: 38.25 + north / 111000,
      longitude_deg: -117.35 + east / 87400,
      radius_m: 6,
      distance_m: Math.hypot(east, north),
      true_deg: (azimuth + 360) % 360,
      compass_deg: (azimuth + 347.9) % 360,
    },
    charges: i === 0 ? [{ name: 'Cam A out', said: 'commanded' }] : [],
  };
}
function story(s) {
  const ticks = (i, r) =>
    Array.from({ length: 50 }, (_, j) => {
      const t = s - (50 - j) * 0.2;
      const n = Math.floor(t * 5);
      return (t > silentFrom && t < silentTo) ||
        (n * 7919 + i * 104729 + r * 1299709) % 97 < 3 + i * 3 + r * 8
        ? '0'
        : '1';
    }).join('');
  return {
    kind: 'story',
    flight: 1,
    events: EVENTS.filter((e) => e[3] <= lastHeard(s)).map(([body, event, label, t], id) => ({
      id,
      body,
      event,
      label,
      t_s: LIFTOFF + t,
      sd_s: 0.05,
      origin: 'detected',
      who: null,
    })),
    radio: ['Mast', 'Truck'].flatMap((receiver, r) =>
      NAMES.map((body, i) => {
        const t = ticks(i, r);
        return {
          receiver,
          body,
          heard_t_s: LIFTOFF + lastHeard(s) - 0.07 * i - 0.05 * r,
          loss: [...t].filter((c) => c === '0').length / 50,
          rssi_dbm: -71 - 6 * i - 11 * r,
          snr_db: null,
          wrong_by: [],
          ticks: t,
          good: 900,
          wrong: 3,
        };
      }),
    ),
    links: [
      { name: 'mast serial', up: true, reason: '', bytes: 4096, no_frame: false, wrong: 0 },
      { name: 'truck serial', up: true, reason: '', bytes: 4096, no_frame: false, wrong: 0 },
    ],
    passing: [],
    ground: {
      compass: { declination_deg: 12.1, sd_deg: 0.36, caution: false, model: 'WMM2025', date: '2026-11-26' },
      pieces: s < paths[0].end ? [] : NAMES.map((_, i) => piece(i, s)),
    },
    readiness: [],
    accepted: [],
  };
}

const SITE = {
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
    {
      name: 'cars',
      kind: 'cars',
      points_m: [
        [-330, -260],
        [-80, -300],
        [-95, -380],
        [-340, -340],
      ],
      closed: true,
    },
  ],
  bodies: NAMES.map((name, i) => ({ name, parent: i ? 0 : null })),
  defaults: [],
  cues: CUES.map(([name, kind]) => ({ name, kind })),
};
const INFO = {
  number: 1,
  name: 'First light',
  vehicle: 'Tall Order',
  opened_s: LIFTOFF - 60,
  liftoff_s: LIFTOFF,
  ended_s: LIFTOFF + 200,
  apogee_m: stateAt(flight.body, flight.apogee)[0],
  duration_s: flight.body.end,
};

function track(fromS, toS) {
  return {
    bodies: paths.map((p, body) => {
      const column = {
        body,
        t_s: [],
        height_m: [],
        climb_mps: [],
        airspeed_mps: [],
        east_m: [],
        north_m: [],
      };
      for (let t = Math.max(fromS, p.t[0]); t < Math.min(toS, p.end); t += 0.1) {
        if (t > silentFrom && t < silentTo) continue;
        const x = stateAt(p, t);
        column.t_s.push(LIFTOFF + t);
        column.height_m.push(x[0]);
        column.climb_mps.push(x[3]);
        column.airspeed_mps.push(x[6]);
        column.east_m.push(x[1]);
        column.north_m.push(x[2]);
      }
      return column;
    }),
  };
}

const live = () => begin + (Date.now() / 1000 - began) * liveRate;
const server = createServer((request, response) => {
  const url = new URL(request.url, 'http://x');
  const answer = {
    '/api/about': {
      version: '0.1.0',
      engine: 'fake',
      cautions: [],
      can_act: false,
      who: null,
      own_machine: false,
      map: false,
    },
    '/api/site': SITE,
    '/api/flights': [INFO],
    '/api/flights/1': { ...INFO, site: SITE },
  }[url.pathname];
  const isTrack = /^\/api\/flights\/(current|1)\/track$/.exec(url.pathname);
  const number = (key, otherwise) => Number(url.searchParams.get(key) ?? otherwise);
  const body = isTrack
    ? track(
        number('from_s', 0) - LIFTOFF,
        Math.min(number('to_s', 9e9) - LIFTOFF, isTrack[1] === '1' ? 9e9 : live()),
      )
    : answer;
  response.writeHead(body ? 200 : 404, { 'content-type': 'application/json' });
  response.end(JSON.stringify(body ?? { error: 'not found', kept: '', hint: '' }));
});
const sockets = new WebSocketServer({ server });
sockets.on('connection', (socket, request) => {
  const replay = /flights\/\d+\/socket/.test(request.url);
  let speed = replay ? 1 : liveRate;
  let at = replay ? 0 : null;
  let since = Date.now() / 1000;
  const s = () =>
    at === null ? live() : Math.min(at + (Date.now() / 1000 - since) * speed, flight.body.end + 30);
  const send = (message) => socket.readyState === 1 && socket.send(JSON.stringify(message));
  const jump = (to, rate) => {
    at = to;
    speed = rate;
    since = Date.now() / 1000;
  };
  socket.on('message', (text) => {
    const ask = JSON.parse(text);
    if (ask.kind === 'ping')
      send({
        kind: 'pong',
        id: ask.id,
        sent_ms: ask.sent_ms,
        t_s: liveRate === 0 ? LIFTOFF + live() : Date.now() / 1000,
      });
    if (ask.kind === 'play') jump(s(), ask.speed);
    if (ask.kind === 'seek') {
      jump(ask.t_s - LIFTOFF, speed);
      send(picture(s()));
      send(story(s()));
    }
  });
  const mode = replay ? 'replay' : 'live';
  const each = (ms, make) => {
    send(make(s()));
    const timer = setInterval(() => send(make(s())), ms);
    socket.on('close', () => clearInterval(timer));
  };
  each(50, (x) => now(x, mode, speed));
  each(200, picture);
  each(500, story);
});
server.listen(port, '127.0.0.1', () => console.log(`fake station on http://127.0.0.1:${port}`));
