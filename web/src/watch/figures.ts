// The six figures of each phase, in two rows: what is now, and what comes (or came). Only what the station said:
// nothing here is computed but a difference of times and a change of units.
import { freshness, whole } from '../lib/age';
import type { BodyNow, Q } from '../lib/messages';
import { abbreviation, direction } from '../lib/place';
import { interval, negated, scaled, shifted } from '../lib/quantity';
import { decimal, digitsOf, distanceScale, lengthScale, speedScale, type Scale } from '../lib/units';
import { carriedFor, fromPad, mainBody, placeOf, type View } from './view';

export interface Figure {
  label: string;
  /** Shorter label where there is little room. */
  short: string;
  value: string;
  unit: string;
  /** "± 9", or empty where the value is no estimate. */
  interval: string;
  /** "carried 4 s" or "4 s old", or empty while fresh. */
  age: string;
}

export interface Row {
  title: string;
  figures: Figure[];
}

const NONE = '–';
const SECONDS: Scale = { factor: 1, unit: 's' };
const DEGREES: Scale = { factor: 180 / Math.PI, unit: '°' };

export function figures(view: View): Row[] {
  const body = mainBody(view.now);
  if (!body) return [];
  const make = maker(view, body);
  switch (body.phase) {
    case 'waiting':
      return [
        { title: 'Now', figures: [make.height(), heard(view), lastHeard(view)] },
        { title: 'Planned', figures: make.apogee(view.now.liftoff_t_s === null ? 'after liftoff' : 'in') },
      ];
    case 'joined':
    case 'powered':
      return [
        { title: 'Now', figures: [make.height(), make.airspeed(), make.lean()] },
        { title: 'At apogee', figures: make.apogee('in') },
      ];
    case 'coasting':
      return [
        {
          title: 'Now',
          figures: [make.height(), make.climb(), leans(view, body) ? make.lean() : make.airspeed()],
        },
        { title: 'At apogee', figures: make.apogee('in') },
      ];
    case 'descending':
      return [
        { title: 'Now', figures: [make.height(), make.descent(), make.away()] },
        { title: 'At landing', figures: [make.landsIn(), make.landsAway(), make.landsAt()] },
      ];
    case 'down':
      return [
        { title: 'The flight', figures: make.apogee('after') },
        { title: 'Where it lies', figures: [make.away(), make.bearing(), make.fixAge()] },
      ];
  }
}

/** Near apogee a path's angle is that of the breeze: from this long before it, s, airspeed alone is spoken of. */
const LEANS_UNTIL_S = 2;

function leans(view: View, body: BodyNow): boolean {
  const left_s = body.apogee ? body.apogee.t_s.p50 - view.t_s : Infinity;
  return body.lean_rad !== null && left_s > LEANS_UNTIL_S;
}

function maker(view: View, body: BodyNow) {
  const { now, units, t_s } = view;
  const age = carriedFor(view, body);
  // What the station carries on through a silence is carried; what it said before it fell silent itself is old.
  const said = view.lost ? `${whole(age)} old` : `carried ${whole(age)}`;
  const carried = freshness(age, now.stale_after_s) !== 'fresh' ? said : '';
  const of = (label: string, q: Q | null, scale: Scale, digits = 0, short = label, old = carried): Figure => {
    if (!q) return { label, short, value: NONE, unit: '', interval: 'not known', age: '' };
    const s = scaled(q, scale.factor);
    return {
      label,
      short,
      value: decimal(s.p50, digits),
      unit: scale.unit,
      interval: interval(s, digits),
      age: old,
    };
  };
  const length = lengthScale(units);
  const speed = speedScale(units);
  const place = placeOf(view, 0);
  // The direction stands in the label: beside the interval and an age there is no room for it.
  const away = (
    lead: string,
    at: readonly [number, number] | null,
    radius: number | null,
    age: string,
  ): Figure => {
    if (!at)
      return {
        label: 'from the pad',
        short: 'from the pad',
        value: NONE,
        unit: '',
        interval: 'not known',
        age: '',
      };
    const { metres, degrees } = fromPad(at);
    const scale = distanceScale(metres, units);
    const digits = digitsOf(scale);
    const q = radius === null ? '' : `± ${decimal(Math.max(radius * scale.factor, 10 ** -digits), digits)}`;
    const label = `${direction(degrees)} of pad`;
    const short = `${lead} ${abbreviation(degrees)}`;
    return {
      label,
      short,
      value: decimal(metres * scale.factor, digits),
      unit: scale.unit,
      interval: q,
      age,
    };
  };
  const plain = (label: string, value: string, unit: string, note = ''): Figure => ({
    label,
    short: label,
    value,
    unit,
    interval: note,
    age: '',
  });
  return {
    height: () => of('height', body.height_m, length),
    climb: () => of('climb', body.climb_mps, speed),
    descent: () => of('descent', body.climb_mps && negated(body.climb_mps), speed),
    airspeed: () => of('airspeed', body.airspeed_mps, speed),
    lean: () => of('off vertical', body.lean_rad, DEGREES, 0, 'lean'),
    away: () => away('pad to', place, body.position_radius_m, body.phase === 'down' ? '' : carried),
    bearing: () =>
      place
        ? plain('bearing', decimal(fromPad(place).degrees).padStart(3, '0'), '°', 'true')
        : plain('bearing', NONE, '', 'not known'),
    fixAge: () =>
      body.fix
        ? plain('last fix', ...split(whole(t_s - body.fix.t_s)), 'old')
        : plain('last fix', NONE, '', 'none heard'),
    landsIn: () =>
      of('in', body.landing && notBefore(shifted(body.landing.t_s, -t_s)), SECONDS, 0, 'lands in'),
    landsAway: () => away('lands', body.landing?.east_north_m ?? null, null, carried),
    landsAt: () => of('speed', body.landing?.descent_mps ?? null, speed, 0, 'lands at'),
    apogee: (when: 'in' | 'after' | 'after liftoff'): Figure[] => {
      const { apogee } = body;
      // A liftoff now is meant, and now is the prediction's own instant, which may be long ago. From a standstill the sum
      // without drag is over at once, so its time is that instant.
      const supposed_t_s = when === 'after liftoff' ? apogee?.hand_t_s : now.liftoff_t_s;
      const from = (when === 'in' ? null : supposed_t_s) ?? t_s;
      // Once it has passed it is a fact that no longer grows old.
      const age = body.phase === 'down' || body.phase === 'waiting' ? '' : carried;
      return [
        of(when === 'after' ? 'apogee' : 'height', apogee?.height_m ?? null, length, 0, 'apogee', age),
        of(when, apogee && notBefore(shifted(apogee.t_s, -from)), SECONDS, 1, when, age),
        of('airspeed', apogee?.airspeed_mps ?? null, speed, 0, 'airspeed then', age),
      ];
    },
  };
}

/** A moment that is due and not yet seen is now, not some seconds ago. */
function notBefore(q: Q): Q {
  return q.p50 < 0 ? shifted(q, -q.p50) : q;
}

function heard(view: View): Figure {
  const transmitters = view.now.bodies.filter((b) => b.transmitter);
  const count = transmitters.filter(
    (b) => b.heard_t_s !== null && view.t_s - b.heard_t_s <= view.now.stale_after_s,
  ).length;
  return {
    label: 'heard',
    short: 'heard',
    value: String(count),
    unit: `of ${transmitters.length}`,
    interval: 'transmitters',
    age: '',
  };
}

function lastHeard(view: View): Figure {
  const newest = Math.max(...view.now.bodies.map((b) => b.heard_t_s ?? -Infinity));
  const age = view.t_s - newest;
  if (!Number.isFinite(age))
    return { label: 'last heard', short: 'last heard', value: NONE, unit: '', interval: 'not yet', age: '' };
  const [value, unit] = age < 9.95 ? [Math.max(0, age).toFixed(1), 's'] : split(whole(age));
  return { label: 'last heard', short: 'last heard', value, unit, interval: 'ago', age: '' };
}

function split(said: string): [string, string] {
  const [value = NONE, unit = ''] = said.split(' ');
  return [value, unit];
}

/** For the text alternative: "height 360 m ± 3". */
export function inText(figure: Figure): string {
  return [figure.label, `${figure.value} ${figure.unit}`.trim(), figure.interval, figure.age]
    .filter(Boolean)
    .join(', ');
}
