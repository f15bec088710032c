// What every part of Watch reads: one message, what has happened, the site, the units, the time. Pure questions
// about it that more than one part asks.
import type { BodyNow, Now, PieceNow, SiteInfo, Story } from '../lib/messages';
import type { Units } from '../lib/units';
import { bearing, bearingDeg, distanceM, eastNorth, type EastNorth } from '../lib/place';

export interface View {
  now: Now;
  story: Story | null;
  site: SiteInfo | null;
  units: Units;
  /** Station time at which this is read. */
  t_s: number;
  /** Whether the page has lost the station. */
  lost: boolean;
  /** Where this device is, if that may be known. */
  here?: Place | null;
}

/** A place of this device on the plan. */
export interface Place {
  east_north_m: EastNorth;
  /** 95 % radius, m. */
  accuracy_m: number;
  age_s: number;
}

/** From one place to another. */
export interface Way {
  metres: number;
  true_deg: number;
  /** As a compass shows it; `null` where the model says nothing. */
  compass_deg: number | null;
}

/** The body that the sentence and the line are about: the first, the vehicle. */
export function mainBody(now: Now): BodyNow | null {
  return now.bodies[0] ?? null;
}

/** Seconds of silence of all radios, or `null` while any is heard. */
export function silentFor(view: View): number | null {
  const since = view.now.silent_since_s;
  return since === null ? null : Math.max(0, view.t_s - since);
}

/** Seconds that a body's figures have been carried: what the station said, and what has gone by since it spoke. */
export function carriedFor(view: View, body: BodyNow): number {
  const unspoken = Math.max(0, view.t_s - view.now.t_s);
  return body.carried_s + (view.lost || unspoken > 1 ? unspoken : 0);
}

/** Index of the body or, while it is attached, of what it is attached to. */
function carrierIndex(view: View, index: number): number {
  let at = index;
  for (let hops = 0; hops < view.now.bodies.length; hops += 1) {
    if (!view.now.bodies[at]?.attached) return at;
    at = view.site?.bodies[at]?.parent ?? 0;
  }
  return 0;
}

export function carrier(view: View, index: number): BodyNow | null {
  return view.now.bodies[carrierIndex(view, index)] ?? null;
}

/** The station lays down by sums alone what has been silent for this long, s. */
const SILENT_S = 5;

/** Whether a body that flies by itself is known to be on the ground: what the station laid down by sums alone nobody saw land, unless it
 * is heard again. */
export function seenDown(now: Now, story: Story | null, index: number): boolean {
  const body = now.bodies[index];
  if (body?.phase !== 'down') return false;
  if (story?.flight !== now.flight) return true;
  const landing = story.events.findLast((e) => e.event === 'landing' && e.body === index);
  if (landing && landing.origin !== 'inferred') return true;
  // The story comes a moment after the message.
  return (body.heard_t_s ?? -Infinity) >= (landing?.t_s ?? now.t_s - SILENT_S);
}

/** Whether a body, or what carries it, is known to be on the ground. */
export function isDown(view: View, index: number): boolean {
  return seenDown(view.now, view.story, carrierIndex(view, index));
}

/** Where a body is, or was when last fixed. */
export function placeOf(view: View, index: number): EastNorth | null {
  const body = carrier(view, index);
  if (!body) return null;
  return body.east_north_m ?? (body.fix && view.site ? eastNorth(body.fix, view.site) : null);
}

/** Distance and true bearing from the pad. */
export function fromPad(place: EastNorth): { metres: number; degrees: number } {
  return { metres: distanceM(place), degrees: bearingDeg(place) };
}

/** What the station says of a piece on the ground. */
export function pieceOf(view: View, index: number): PieceNow | null {
  if (view.story?.flight !== view.now.flight) return null;
  return view.story.ground.pieces.find((p) => p.body === index) ?? null;
}

/** From the pad to where a body lies: by the station, or on the plain grid as long as that has not told it. */
export function wayFromPad(view: View, index: number): Way | null {
  const told = pieceOf(view, index)?.place;
  if (told) return { metres: told.distance_m, true_deg: told.true_deg, compass_deg: told.compass_deg };
  const place = placeOf(view, index);
  return place && way(view, place, [0, 0]);
}

/** From one place on the plain grid to another. Over the kilometres of a range the declination is that of the pad. */
export function way(view: View, to: EastNorth, from: EastNorth): Way {
  const true_deg = bearingDeg(to, from);
  const compass = view.story?.ground.compass ?? null;
  return {
    metres: distanceM(to, from),
    true_deg,
    compass_deg: compass && (true_deg - compass.declination_deg + 360) % 360,
  };
}

/** "047° true, 034° by compass" */
export function bearings({ true_deg, compass_deg }: Way): string {
  return `${bearing(true_deg)} true${compass_deg === null ? '' : `, ${bearing(compass_deg)} by compass`}`;
}

export function eventTime(view: View, event: string): number | null {
  const times = view.story?.events.filter((e) => e.event === event && e.body === 0).map((e) => e.t_s) ?? [];
  return times.length ? Math.max(...times) : null;
}
