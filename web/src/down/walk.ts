// On the ground: the pieces in walking order, as sentences. From the pad always to the nearest piece left, which for
// a handful of pieces in one direction is the way a person would go (nearest neighbour, not the shortest tour).
import { whole } from '../lib/age';
import { bearing, bearingDeg, direction, distanceM, geoUri, type EastNorth } from '../lib/place';
import { distance } from '../lib/units';
import { isDown, placeOf, type View } from '../watch/view';

export interface Stop {
  body: number;
  name: string;
  place: EastNorth;
  /** "First Cam A, 548 m, east-north-east at 068° true." */
  words: string;
  /** "Last fix 3 s old." or that there is none. */
  fix: string;
  geo: string | null;
}

export interface Walk {
  stops: Stop[];
  /** Names of pieces not known to be down. */
  up: string[];
  /** Names of pieces that are down, nobody knows where. */
  unplaced: string[];
}

export function walkOf(view: View): Walk {
  const walk: Walk = { stops: [], up: [], unplaced: [] };
  const left: { body: number; name: string; place: EastNorth }[] = [];
  view.now.bodies.forEach((body, index) => {
    if (body.attached) return;
    if (!isDown(view, index)) walk.up.push(body.name);
    else {
      const place = placeOf(view, index);
      if (place) left.push({ body: index, name: body.name, place });
      else walk.unplaced.push(body.name);
    }
  });
  let from: EastNorth = [0, 0];
  while (left.length > 0) {
    const here = from;
    left.sort((a, b) => distanceM(a.place, here) - distanceM(b.place, here));
    const next = left.shift();
    if (!next) break;
    walk.stops.push({ ...next, ...sayStop(view, next, here, walk.stops.length === 0) });
    from = next.place;
  }
  return walk;
}

function sayStop(
  view: View,
  stop: { body: number; name: string; place: EastNorth },
  from: EastNorth,
  first: boolean,
) {
  const metres = distanceM(stop.place, from);
  const degrees = bearingDeg(stop.place, from);
  const on = first ? '' : ' on';
  const way =
    metres < 1
      ? 'at the same place'
      : `${distance(metres, view.units)}${on}, ${direction(degrees, 16)} at ${bearing(degrees)} true`;
  const fix = view.now.bodies[stop.body]?.fix ?? null;
  return {
    words: `${first ? 'First' : 'Then'} ${stop.name}, ${way}.`,
    fix: fix
      ? `Last fix ${whole(Math.max(0, view.t_s - fix.t_s))} old.`
      : 'No fix heard: the place is estimated.',
    geo: fix ? geoUri(fix) : null,
  };
}
