// On the ground: each piece with its way from the pad and from this device, in the order in which a person would come by
// them. Always to the nearest piece left, which for a handful of pieces in one direction is the way a person would go
// (nearest neighbour, not the shortest tour). Nothing here says that anyone may go: that is for the range's officer.
import { whole } from '../lib/age';
import type { ChargeNow, ChargeSaid } from '../lib/messages';
import { direction, distanceM, geoUri, type EastNorth } from '../lib/place';
import { distance, length } from '../lib/units';
import { bearings, isDown, pieceOf, placeOf, way, wayFromPad, type View, type Way } from '../watch/view';

export interface Stop {
  body: number;
  name: string;
  /** "548 m east-north-east of the pad, 068° true, 056° by compass." */
  fromPad: string;
  /** "From you 320 m, 120° true, 108° by compass.", when it is known where this device is. */
  fromYou: string | null;
  /** "Last fix 3 s old." or that there is none. */
  fix: string;
  geo: string | null;
  /** Charges aboard it, and aboard what it carries, that are not confirmed fired. */
  live: string | null;
}

export interface Walk {
  stops: Stop[];
  /** Names of pieces not known to be down. */
  up: string[];
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

export function walkOf(view: View): Walk {
  const walk: Walk = { stops: [], up: [], unplaced: [], compass: compassWords(view) };
  const left: Left[] = [];
  view.now.bodies.forEach((body, index) => {
    if (body.attached) return;
    if (!isDown(view, index)) walk.up.push(body.name);
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
    fromPad: `${wayWords(view, pad, 'of the pad', 'at the pad')}.`,
    fromYou: you && `From you ${wayWords(view, you, '', 'no way at all')}.`,
    fix: fix
      ? `Last fix ${whole(Math.max(0, view.t_s - fix.t_s))} old${radius}.`
      : `No fix heard: the place is estimated${radius}.`,
    geo: told || fix ? geoUri((told ?? fix) as NonNullable<typeof fix>) : null,
    live: liveWords(view, body),
  };
}

function wayWords(view: View, to: Way, of: string, none: string): string {
  if (to.metres < 1) return none;
  const said = [distance(to.metres, view.units), direction(to.true_deg, 16), of].filter(Boolean).join(' ');
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
