// An invented flight for the fake station: a heavy vehicle that leans, three cameras, two chutes.
// Point mass with quadratic drag and constant wind, stepped by 20 ms. Good enough to draw, no reference for anything.

const G = 9.8;
const STEP_S = 0.02;
const WIND = [4.2, 1.5];
export const NAMES = ['Body', 'Cam A', 'Cam B', 'Cam C'];

function fall(state, until, dragArea, mass, rho = 1.05) {
  const [h, e, n, vu, ve, vn] = state;
  const re = ve - WIND[0];
  const rn = vn - WIND[1];
  const speed = Math.hypot(vu, re, rn);
  const k = (0.5 * rho * dragArea * speed) / mass;
  const thrust = until.thrust ?? 0;
  const t = until.thrustDirection ?? [1, 0, 0];
  const a = [thrust * t[0] - G - k * vu, thrust * t[1] - k * re, thrust * t[2] - k * rn];
  const v = [vu + a[0] * STEP_S, ve + a[1] * STEP_S, vn + a[2] * STEP_S];
  return [
    h + v[0] * STEP_S,
    e + v[1] * STEP_S,
    n + v[2] * STEP_S,
    ...v,
    Math.hypot(v[0], v[1] - WIND[0], v[2] - WIND[1]),
  ];
}

function fly(start, t0, dragOf, mass, thrustOf = () => ({})) {
  const t = [];
  const state = [];
  let now = start;
  for (let time = t0; ; time += STEP_S) {
    t.push(time);
    state.push(now);
    if (state.length > 10 && now[0] <= 0 && now[3] < 0) break;
    now = fall(now, thrustOf(time, now), dragOf(time, now), mass);
  }
  return { t, state, end: t.at(-1) };
}

/** State of a flown path at a time: [height, east, north, climb, east rate, north rate, airspeed]. */
export function stateAt(path, t) {
  if (t <= path.t[0]) return path.state[0];
  if (t >= path.end) return path.state.at(-1).map((x, i) => (i === 0 || i > 2 ? 0 : x));
  return path.state[Math.round((t - path.t[0]) / STEP_S)] ?? path.state.at(-1);
}

export function makeFlight(lean) {
  const azimuth = 0.5;
  const tilt = lean === 'straight' ? 0.05 : 0.3;
  const thrustOf = (t, s) => {
    if (t > 2.4) return {};
    const speed = Math.hypot(s[3], s[4], s[5]);
    const along =
      speed > 12
        ? [s[3] / speed, s[4] / speed, s[5] / speed]
        : [Math.cos(tilt), Math.sin(tilt) * Math.sin(azimuth), Math.sin(tilt) * Math.cos(azimuth)];
    return { thrust: 54, thrustDirection: along };
  };
  const pad = [0, 0, 0, 0, 0, 0, 0];
  const bare = fly(pad, 0, () => 0.03, 26, thrustOf);
  const apogee = bare.t[bare.state.findIndex((s, i) => i > 50 && s[3] <= 0)];
  const drogue = apogee + 1.7;
  let main = Infinity;
  const body = fly(
    pad,
    0,
    (t, s) => {
      if (t > drogue && s[0] < 150) main = Math.min(main, t);
      return t > main + 0.4 ? 10 : t > drogue + 0.3 ? 2 : 0.03;
    },
    26,
    thrustOf,
  );
  const below = body.t[body.state.findIndex((s, i) => i > 130 && s[3] < 19.6)] + 0.1;
  const out = [below, apogee + 0.1, apogee + 1.1];
  const cams = out.map((t) => fly(stateAt(body, t), t, (now) => (now > t + 1.5 ? 1.4 : 0.02), 2.6));
  return { body, bare, cams, apogee, drogue, main, out, burnout: 2.4, railExit: 0.42 };
}
