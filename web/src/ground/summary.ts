// The ground plan in words, for whoever does not see it.
import type { Now } from '../lib/messages';
import { bearingDeg, direction, distanceM, type EastNorth } from '../lib/place';
import { distance, type Units } from '../lib/units';
import type { Place } from '../watch/view';
import type { Ground } from './data';

export function inGround(now: Now, ground: Ground, units: Units, here: Place | null = null): string {
  const at = (place: EastNorth): string =>
    `${distance(distanceM(place), units)} ${direction(bearingDeg(place))} of the pad`;
  const said = ['Plan of the ground, north up.'];
  if (here) said.push(`You are ${at(here.east_north_m)}.`);
  for (const t of ground.trails) {
    const body = now.bodies[t.body];
    if (t.here && body && now.liftoff_t_s !== null) said.push(`${body.name} is ${at(t.here)}.`);
  }
  for (const l of ground.landings) {
    const who = l.bare ? 'If nothing deploys, the landing' : `${l.name}'s landing`;
    if (!l.ring) {
      said.push(`${who} is predicted ${at(l.centre)}.`);
      continue;
    }
    const [inner, , , outer] = l.ring;
    const where =
      inner > 0
        ? `on a ring, ${distance(inner, units)} to ${distance(outer, units)} out`
        : `within ${distance(outer, units)}`;
    said.push(`${who} is somewhere ${where}: the heading is not known.`);
  }
  return said.join(' ');
}
