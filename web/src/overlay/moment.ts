// What the overlay says and draws at an instant, from the messages that held then. Pure.
import { chartOf, type Chart } from '../flight-line/data';
import type { Pen } from '../flight-line/paint/pen';
import type { Now, Picture, SiteInfo, Story } from '../lib/messages';
import type { Past } from '../lib/past';
import { penAt, type Glide } from '../lib/pen';
import { lengthScale, speedScale, type Units } from '../lib/units';
import { sentence } from '../watch/sentence';

export interface Told {
  now: Now;
  picture: Picture | null;
  story: Story | null;
}

/** The flight line for a film: what happened, and the great moments to come. Limits, sums and what-ifs are for crew. */
export function chartAt(told: Told, past: Past, units: Units): Chart {
  const chart = chartOf({ ...told, points: past.of(0), units });
  const chutes = (told.picture?.cues ?? told.now.cues).filter((c) => c.kind === 'chute' && c.body === 0);
  const great = (label: string): boolean =>
    /^(apogee|down|landing)/.test(label) || chutes.some((c) => label.startsWith(c.name));
  const flags = chart.flags
    .filter((f) => (f.happened ? f.label !== 'rail exit' : great(f.label)))
    .map((f) => ({ ...f, look: false, act: false }));
  return { ...chart, flags, marks: [], hand: null, bareGround: null };
}

export function wordsAt({ now, story }: Told, site: SiteInfo | null, units: Units, t_s: number): string {
  return sentence({ now, story, site, units, t_s: Math.max(t_s, now.t_s), lost: false });
}

/** The pen at an instant; `glide` makes it glide over from one message to the next. */
export function penOf(now: Now, chart: Chart, glide: Glide, units: Units, t_s: number): Pen {
  const body = now.bodies[0];
  const at = body ? glide.at(now, (t) => penAt(body.next, t), t_s) : null;
  const length = lengthScale(units).factor;
  const speed = speedScale(units).factor;
  const times = (value: number | undefined, factor: number): number | null =>
    value === undefined ? null : value * factor;
  return {
    t: t_s - chart.t0_s,
    height: times(at?.height_m ?? body?.height_m?.p50, length),
    climb: times(at?.climb_mps ?? body?.climb_mps?.p50, speed),
    airspeed: times(at?.airspeed_mps ?? body?.airspeed_mps?.p50, speed),
    hatchFrom: chart.silentFrom,
    hatchWords: 'no radio',
    told: true,
  };
}
