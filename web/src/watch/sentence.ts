// The sentence: what is happening and the one number that matters now, for every phase. Pure: a view in, words out.
// A value older than ten seconds is struck off it, except where a piece lies.
import { duration, STRUCK_AFTER_S, whole } from '../lib/age';
import type { BodyNow, CueNow, Descent } from '../lib/messages';
import { direction } from '../lib/place';
import { halfWidth, scaled } from '../lib/quantity';
import { distance, length, lengthScale, speed } from '../lib/units';
import {
  bearings,
  carriedFor,
  eventTime,
  fromPad,
  isDown,
  mainBody,
  silentFor,
  wayFromPad,
  type View,
} from './view';

/** All radios gone this soon after burnout, or before it, is what a break-up looks like, s. Common practice, no source. */
const SOON_AFTER_BURNOUT_S = 3;
/** More air than this past apogee, even at the interval's low end, is said in place of the give or take, m/s. Ours. */
const MUCH_AIR_MPS = 20;

/** A longer name would need a second line on a laptop. */
const LONGEST_NAME = 10;

const UNDER: Record<Descent, string> = {
  drogue: 'Under drogue',
  main: 'Under main',
  streamer: 'Under streamer',
  tumbling: 'Tumbling',
  bare: 'Falling with nothing out',
  ballistic: 'Falling nose first',
};

export function sentence(view: View): string {
  const body = mainBody(view.now);
  if (!body || view.now.flight === 0) return onThePad(view);
  if (body.phase === 'down') return down(view, body);
  if (body.phase === 'waiting') return onThePad(view);
  const silence = silentFor(view);
  if (silence !== null) return silent(view, body, silence);
  // One transmitter may be silent while others speak: what is carried too long is not said.
  if (carriedFor(view, body) > STRUCK_AFTER_S) return notHeard(view, body);
  if (view.lost) return noStation(view, body);
  switch (body.phase) {
    case 'powered':
      return powered(view, body);
    case 'coasting':
      return coasting(view, body);
    case 'descending':
      return descending(view, body);
    case 'joined':
      return joined(view, body);
  }
}

function onThePad(view: View): string {
  const transmitters = view.now.bodies.filter((b) => b.transmitter);
  const ever = transmitters.filter((b) => b.heard_t_s !== null);
  if (transmitters.length === 0) return 'Waiting for the setup of a vehicle.';
  if (ever.length === 0) {
    return transmitters.length === 1
      ? 'Nothing heard yet.'
      : `Nothing heard yet from ${transmitters.length} transmitters.`;
  }
  const heard = ever.filter((b) => view.t_s - (b.heard_t_s ?? 0) <= view.now.stale_after_s);
  const said = `On the pad. ${heard.length} of ${transmitters.length} heard`;
  const checks = view.story?.flight === view.now.flight ? view.story.readiness : [];
  if (checks.length === 0) return `${said}.`;
  // What was accepted is not within limits for that; what is worked out of the setup is counted by Prepare.
  const within = checks.filter((c) => c.level === null);
  return `${said}, ${within.length} of ${checks.length} by radio within limits.`;
}

function joined(view: View, body: BodyNow): string {
  if (!body.height_m) return 'Joined in flight. Height not known yet.';
  return `Joined in flight, at about ${length(body.height_m.p50, view.units)}.`;
}

function powered(view: View, body: BodyNow): string {
  if (!body.height_m) return 'Climbing under power. Height not known yet.';
  const said = [length(body.height_m.p50, view.units)];
  const rate = body.airspeed_mps ?? body.climb_mps;
  if (rate) said.push(speed(rate.p50, view.units));
  if (body.lean_rad) said.push(`leaning ${degrees(body.lean_rad.p50)}°`);
  return `Climbing under power. ${said.join(', ')}.`;
}

function coasting(view: View, body: BodyNow): string {
  const { apogee } = body;
  if (!apogee) {
    return body.height_m
      ? `Coasting at ${length(body.height_m.p50, view.units)}. Apogee not known yet.`
      : 'Coasting. Height not known yet.';
  }
  const scale = lengthScale(view.units);
  const left = apogee.t_s.p50 - view.t_s;
  const start = left > 0 ? `Apogee in ${duration(left)}` : 'Apogee now';
  const at = `at ${length(apogee.height_m.p50, view.units)}`;
  if (apogee.airspeed_mps.p05 > MUCH_AIR_MPS) {
    return `${start} ${at}, with ${speed(apogee.airspeed_mps.p50, view.units)} of air past it.`;
  }
  return `${start} ${at}, give or take ${halfWidth(scaled(apogee.height_m, scale.factor))}.`;
}

/** The body's own first chute, as long as it is to come and not overdue. */
function firstChuteToCome(view: View): CueNow | undefined {
  // The message may leave out what has passed; then the event tells.
  if (eventTime(view, 'first_chute') !== null) return undefined;
  const own = view.now.cues.filter((c) => c.kind === 'chute' && c.body === 0);
  const first = own.sort((a, b) => a.t_s.p50 - b.t_s.p50)[0];
  return first && !first.passed && first.t_s.p95 > view.t_s ? first : undefined;
}

function descending(view: View, body: BodyNow): string {
  const bare = !body.descent || ['bare', 'ballistic', 'tumbling'].includes(body.descent);
  const next = bare ? firstChuteToCome(view) : undefined;
  if (next) {
    // Nothing is wrong before the first chute is due: what matters is when it opens, and into how much air.
    const air = next.airspeed_mps.p50;
    const into = air > MUCH_AIR_MPS ? ` into ${speed(air, view.units)} of air` : '';
    return `Past apogee. Next, ${next.name} in ${duration(Math.max(0, next.t_s.p50 - view.t_s))}${into}.`;
  }
  const under = body.descent ? UNDER[body.descent] : 'Coming down';
  const rate = body.climb_mps ? ` at ${speed(Math.max(0, -body.climb_mps.p50), view.units)}` : '';
  const { landing } = body;
  if (!landing) return `${under}${rate}.`;
  const left = landing.t_s.p50 - view.t_s;
  const place = landing.east_north_m;
  const from = place ? fromPad(place) : null;
  const where = from ? `, ${distance(from.metres, view.units)} ${direction(from.degrees)}` : '';
  const lands = left > 0.5 ? `Lands in ${whole(left)}` : 'Landing now';
  return `${under}${rate}. ${lands}${where}.`;
}

function silent(view: View, body: BodyNow, silence: number): string {
  const since = view.now.silent_since_s ?? view.t_s;
  const burnout = eventTime(view, 'burnout');
  const early = body.phase === 'powered' || (burnout !== null && since - burnout < SOON_AFTER_BURNOUT_S);
  if (early && view.now.bodies.length > 0) {
    if (burnout !== null && since >= burnout) {
      return `All radios silent since ${duration(since - burnout)} after burnout. Eyes up.`;
    }
    const liftoff = view.now.liftoff_t_s;
    return liftoff === null
      ? 'All radios silent. Eyes up.'
      : `All radios silent since T+${duration(since - liftoff)}. Eyes up.`;
  }
  const gone = `No radio for ${whole(silence)}.`;
  if (silence > STRUCK_AFTER_S || !body.height_m) return `${gone} Height not known.`;
  return `${gone} If still flying, about ${length(Math.max(0, body.height_m.p50), view.units)}.`;
}

/** What was predicted when the station was last heard: due, for nobody knows whether it happens. */
function noStation(view: View, body: BodyNow): string {
  const gone = `No station for ${whole(carriedFor(view, body))}.`;
  const { apogee, landing } = body;
  if (body.phase === 'powered') return `${gone} It was under power.`;
  if (body.phase === 'coasting' && apogee) {
    const left = apogee.t_s.p50 - view.t_s;
    const at = length(apogee.height_m.p50, view.units);
    return left > 0
      ? `${gone} Apogee due in ${duration(left)} at ${at}.`
      : `${gone} Apogee was due at ${at}.`;
  }
  if (body.phase === 'descending' && landing) {
    const left = landing.t_s.p50 - view.t_s;
    return left > 0.5 ? `${gone} Landing due in ${whole(left)}.` : `${gone} Landing was due.`;
  }
  return `${gone} Height not known.`;
}

function notHeard(view: View, body: BodyNow): string {
  const age = whole(carriedFor(view, body));
  const who = view.lost ? 'No word from the station' : `${body.name} not heard`;
  return `${who} for ${age}. Height not known.`;
}

function down(view: View, body: BodyNow): string {
  const up = view.now.bodies.filter((_, i) => !isDown(view, i));
  if (up.length > 0) {
    // A long name or several stand in the list below; the sentence keeps to its line.
    const only = up.length === 1 ? (up[0]?.name ?? '') : '';
    const who =
      only && only.length <= LONGEST_NAME ? only : up.length === 1 ? 'One piece' : `${up.length} pieces`;
    return `${who} not known to be down. Stay until the range is opened.`;
  }
  const from = wayFromPad(view, 0);
  if (!from) return 'Down. Where is not known: no fix was heard.';
  const age = body.fix ? ` Last fix ${whole(view.t_s - body.fix.t_s)} old.` : ' No fix: place estimated.';
  return `Down, ${distance(from.metres, view.units)} from the pad at ${bearings(from)}.${age}`;
}

function degrees(radians: number): number {
  return Math.round((radians * 180) / Math.PI);
}
