// On the ground: each piece with its way from the pad and from this device, in the order in which a person would come by
// them. Always to the nearest piece left, which for a handful of pieces in one direction is the way a person would go
// (nearest neighbour, not the shortest tour). Before them what is not known to be down. Nothing here says that anyone may go: that is for the range's officer.
import { whole } from '../lib/age';
import { axesOf, NINE_TENTHS } from '../ground/ellipse';
import type { BodyNow, ChargeNow, ChargeSaid, Picture } from '../lib/messages';
import type { Past, Point } from '../lib/past';
import { direction, distanceM, eastNorth, geoUri, onEarth, type EastNorth } from '../lib/place';
import { distance, length } from '../lib/units';
import { bearings, isDown, pieceOf, placeOf, way, wayFromPad, type View, type Way } from '../watch/view';

export interface Stop {
  body: number;
  name: string;
  /** "548 m east of the pad, 068° true, 056° by compass." */
  fromPad: string;
  /** "From you 320 m, 120° true, 108° by compass.", when it is known where this device is. */
  fromYou: string | null;
  /** "Last fix 3 s old." or that there is none. */
  fix: string;
  geo: string | null;
  /** Charges aboard it, and aboard what it carries, that are not confirmed fired. */
  live: string | null;
}

/** A piece that is not known to be down: where it was, and where it is predicted to come down. */
export interface Missing {
  body: number;
  name: string;
  /** "Last heard 76 s ago." */
  heard: string;
  /** "Last fix 76 s old: 380 m west of the pad, 272° true, 391 m up." */
  seen: string;
  seenGeo: string | null;
  /** "Predicted, not seen: 295 m east of the pad, 084° true, 072° by compass. 90 % area up to 570 m from there." */
  ahead: string;
  aheadGeo: string | null;
  fromYou: string | null;
  live: string | null;
}

export interface Walk {
  /** In the order of the setup. */
  missing: Missing[];
  stops: Stop[];
  /** Pieces that are down, nobody knows where, with their charges. */
  unplaced: { name: string; live: string | null }[];
  /** By what the compass bearings were computed, or that there are none. */
  compass: string;
}

interface Left {
  body: number;
  name: string;
  place: EastNorth;
}

export function walkOf(view: View, picture: Picture | null = null, past: Past | null = null): Walk {
  const walk: Walk = { missing: [], stops: [], unplaced: [], compass: compassWords(view) };
  const left: Left[] = [];
  view.now.bodies.forEach((body, index) => {
    if (body.attached) return;
    if (!isDown(view, index)) walk.missing.push(missingOf(view, index, picture, past));
    else {
      const place = placeOf(view, index);
      if (place) left.push({ body: index, name: body.name, place });
      else walk.unplaced.push({ name: body.name, live: liveWords(view, index) });
    }
  });
  let from: EastNorth = view.here?.east_north_m ?? [0, 0];
  while (left.length > 0) {
    const here = from;
    left.sort((a, b) => distanceM(a.place, here) - distanceM(b.place, here));
    const next = left.shift();
    if (!next) break;
    walk.stops.push(stopOf(view, next));
    from = next.place;
  }
  return walk;
}

function stopOf(view: View, { body, name, place }: Left): Stop {
  const pad = wayFromPad(view, body) ?? way(view, place, [0, 0]);
  const you = view.here ? way(view, place, view.here.east_north_m) : null;
  const fix = view.now.bodies[body]?.fix ?? null;
  const told = pieceOf(view, body)?.place ?? null;
  const radius = told?.radius_m == null ? '' : `, give or take ${length(told.radius_m, view.units)}`;
  return {
    body,
    name,
    fromPad: `${padWords(view, pad)}.`,
    fromYou: you && `From you ${wayWords(view, you, '', 'no way at all')}.`,
    fix: fix
      ? `Last fix ${whole(Math.max(0, view.t_s - fix.t_s))} old${radius}.`
      : `No fix heard: the place is estimated${radius}.`,
    geo: told || fix ? geoUri((told ?? fix) as NonNullable<typeof fix>) : null,
    live: liveWords(view, body),
  };
}

function missingOf(view: View, index: number, picture: Picture | null, past: Past | null): Missing {
  const { now, site, t_s } = view;
  const body = now.bodies[index] as BodyNow;
  const age = (at_s: number): string => whole(Math.max(0, t_s - at_s));
  const heard = !body.transmitter
    ? 'It has no radio.'
    : body.heard_t_s === null
      ? 'Never heard.'
      : `Last heard ${age(body.heard_t_s)} ago.`;
  const { place, words } = aheadOf(view, index, picture);
  const you = place && view.here ? way(view, place, view.here.east_north_m) : null;
  return {
    body: index,
    name: body.name,
    heard,
    ...seenOf(view, body, past?.of(index) ?? [], age),
    ahead: words,
    aheadGeo: place && site ? geoUri(onEarth(place, site)) : null,
    fromYou: you && `From you ${wayWords(view, you, '', 'no way at all')}.`,
    live: liveWords(view, index),
  };
}

/** A height of the path within so much of a fix is that of the fix, s. */
const SAME_S = 3;

/** Where it was last: by its fix, else by the last of its path that was not carried through silence. */
function seenOf(
  view: View,
  { fix }: BodyNow,
  points: readonly Point[],
  age: (at_s: number) => string,
): Pick<Missing, 'seen' | 'seenGeo'> {
  const known = points.filter((p) => !p.carried && p.t_s <= Math.min(view.t_s, (fix?.t_s ?? Infinity) + 0.5));
  const last = known.findLast((p) => fix !== null || p.east_north_m !== null);
  const place = fix && view.site ? eastNorth(fix, view.site) : (last?.east_north_m ?? null);
  const at_s = fix?.t_s ?? last?.t_s;
  if (!place || at_s === undefined) return { seen: 'No place of it is known.', seenGeo: null };
  const height = last?.height_m != null && at_s - last.t_s < SAME_S ? last.height_m : null;
  const up = height === null ? '' : `, ${length(height, view.units)} up`;
  const words = `${padWords(view, way(view, place, [0, 0]))}${up}`;
  return {
    seen: fix
      ? `Last fix ${age(at_s)} old: ${words}.`
      : `Last known place, no fix, ${age(at_s)} old: ${words}.`,
    seenGeo: fix && geoUri(fix),
  };
}

/** Where it is predicted to come down as planned; nothing of that was seen. */
function aheadOf(
  view: View,
  index: number,
  picture: Picture | null,
): { place: EastNorth | null; words: string } {
  const { now, units } = view;
  const planned = picture?.flight === now.flight ? picture.landings : [];
  const area = planned.find((l) => l.body === index && l.case === 'planned')?.area;
  if (area && 'ring' in area) {
    const { p05, p95 } = area.ring.radius_m;
    const from = p05 > 0 ? `${distance(p05, units)} to ` : 'up to ';
    return {
      place: null,
      words: `Predicted, not seen: ${from}${distance(p95, units)} out, its heading is not known.`,
    };
  }
  const place = area?.ellipse.centre_m ?? now.bodies[index]?.landing?.east_north_m ?? null;
  if (!place) return { place, words: 'Where it lands is not predicted.' };
  const reach = area && NINE_TENTHS * axesOf(area.ellipse.covariance_m2).major;
  const wide = reach === undefined ? '' : ` 90 % area up to ${distance(reach, units)} from there.`;
  return { place, words: `Predicted, not seen: ${padWords(view, way(view, place, [0, 0]))}.${wide}` };
}

function padWords(view: View, to: Way): string {
  return wayWords(view, to, 'of the pad', 'at the pad');
}

function wayWords(view: View, to: Way, of: string, none: string): string {
  if (to.metres < 1) return none;
  const said = [distance(to.metres, view.units), direction(to.true_deg), of].filter(Boolean).join(' ');
  return `${said}, ${bearings(to)}`;
}

const SAID: Record<ChargeSaid, string> = {
  armed: 'armed',
  commanded: 'commanded only',
  not_fired: 'not fired',
  nothing: 'nothing heard of it',
};

/** Charges of a piece, and of pieces that it still carries, that its radio does not say to have fired. */
function liveWords(view: View, body: number): string | null {
  if (view.story?.flight !== view.now.flight) return null;
  const aboard = view.story.ground.pieces.filter((p) => p.body === body || p.carried_by === body);
  const words = aboard.flatMap((p) => p.charges).map((c: ChargeNow) => `${c.name} (${SAID[c.said]})`);
  return words.length ? `Treat as live, not confirmed fired: ${words.join(', ')}.` : null;
}

function compassWords(view: View): string {
  const compass = view.story?.ground.compass;
  if (!compass) return 'No compass bearings: the model has none for this place and day.';
  const { declination_deg: d, sd_deg, model, date, caution } = compass;
  const side = d >= 0 ? 'east' : 'west';
  // The 90 % interval of a normal distribution, as everywhere on the page.
  const half = Math.max(1, Math.round(1.645 * sd_deg));
  const weak = caution ? ' The field is weak here: use a compass with caution.' : '';
  return `By compass: ${model} for ${date}, declination ${Math.abs(d).toFixed(1)}° ${side}, give or take ${half}°.${weak}`;
}
