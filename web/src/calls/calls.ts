// From messages to what a voice says: heads-ups and predictions first, then what has happened. Pure: each call is made
// once a flight. What holds on (a heads-up, a prediction) is said as it is when its turn comes; what is of a moment
// (liftoff, burnout, apogee, the seconds before it) has that moment, and is of no use later.
import { whole } from '../lib/age';
import type { HeadsUpNow, Now, Story } from '../lib/messages';
import { direction } from '../lib/place';
import { distance, inWords, length, METRES_PER_FOOT, speed, type Units } from '../lib/units';
import { fromPad, seenDown } from '../watch/view';

/** Which comes first when several wait. */
export const RANK = { act: 0, look: 1, prediction: 2, rest: 3 } as const;

export type Sound = 'act' | 'look' | 'mark' | 'tick';

export interface Call {
  /** The same for the same thing: it is said once. */
  key: string;
  rank: number;
  /** Station time of its moment. It is not said before, and not when it is more than a second past. */
  due_s: number;
  words: string;
  /** What is heard where there is no voice. */
  sound: Sound;
}

export interface Heard {
  now: Now;
  story: Story | null;
  headsups: readonly HeadsUpNow[];
  /** Station time. */
  t_s: number;
  units: Units;
  /** Whether height steps were asked for. */
  heights: boolean;
}

/** An apogee that is not known better than this is not counted down to: half of its 90 % interval, s. */
const COUNTED_WITHIN_S = 0.75;
/** Nor is it predicted aloud before it is known to a tenth of its height, or when this is all that is left, s. */
const PREDICTED_SHARE = 0.1;
const PREDICTED_LEFT_S = 3;
/** More air than this past apogee is said with it, m/s; as in the sentence. */
const MUCH_AIR_MPS = 20;
const COUNT = [5, 4, 3, 2, 1];
/** Heights are called every so many metres, or feet. */
const STEP: Record<Units, number> = { metric: 100, imperial: 500 * METRES_PER_FOOT };

/** Calls of one flight after the other. */
export class Caller {
  private flight = -1;
  private step = 0;
  private before: { landed: Set<number> } = { landed: new Set() };

  /** The calls that are due or to come, as of a message. Those of holding things come again with each, in today's words. */
  take(heard: Heard): Call[] {
    const { now } = heard;
    if (now.mode !== 'live') return [];
    if (now.flight !== this.flight) {
      this.flight = now.flight;
      this.step = heightStep(heard);
      this.before = { landed: landed(heard) };
    }
    const calls = [...headsups(heard), ...prediction(heard), ...happened(heard), ...countdown(heard)];
    calls.push(...this.heights(heard), ...this.landings(heard));
    return calls.map((call) => ({ ...call, key: `${now.flight} ${call.key}` }));
  }

  private heights(heard: Heard): Call[] {
    const before = this.step;
    this.step = heightStep(heard);
    const climbing = ['powered', 'coasting'].includes(heard.now.bodies[0]?.phase ?? '');
    if (!heard.heights || !climbing || this.step <= before) return [];
    const words = length(this.step * STEP[heard.units], heard.units);
    return [call(`height ${words}`, RANK.rest, heard.t_s, words, 'tick')];
  }

  private landings(heard: Heard): Call[] {
    const before = this.before.landed;
    this.before = { landed: landed(heard) };
    return heard.now.bodies.flatMap((body, index) =>
      this.before.landed.has(index) && !before.has(index)
        ? [call(`landing ${index}`, RANK.rest, heard.t_s, `${body.name} down`, 'mark')]
        : [],
    );
  }
}

function call(key: string, rank: number, due_s: number, words: string, sound: Sound): Call {
  return { key, rank, due_s, words, sound };
}

function headsups({ headsups, t_s, units }: Heard): Call[] {
  // The first sentence says what will happen; its limit can be read. A voice has little time.
  return headsups.map(({ key, level, words }) =>
    call(`headsup ${key}`, RANK[level], t_s, firstSentence(inWords(words, units)), level),
  );
}

function firstSentence(words: string): string {
  return /^.*?[.!?](?=\s|$)/.exec(words)?.[0] ?? words;
}

function prediction({ now, t_s, units }: Heard): Call[] {
  const body = now.bodies[0];
  if (!body || now.silent_since_s !== null) return [];
  if (body.phase === 'coasting' && body.apogee) {
    const { height_m, t_s: at, airspeed_mps } = body.apogee;
    const left = at.p50 - t_s;
    const known = (height_m.p95 - height_m.p05) / 2 < PREDICTED_SHARE * height_m.p50;
    if (!known || left < PREDICTED_LEFT_S) return [];
    const air =
      airspeed_mps.p05 > MUCH_AIR_MPS ? `, with ${speed(airspeed_mps.p50, units)} of air past it` : '';
    const words = `Apogee in ${whole(left)} at ${length(height_m.p50, units)}${air}`;
    return [call('prediction apogee', RANK.prediction, t_s, words, 'mark')];
  }
  const { landing, descent } = body;
  if (body.phase !== 'descending' || !landing || (descent !== 'drogue' && descent !== 'main')) return [];
  const left = landing.t_s.p50 - t_s;
  if (left < PREDICTED_LEFT_S) return [];
  const place = landing.east_north_m && fromPad(landing.east_north_m);
  const where = place ? `, ${distance(place.metres, units)} ${direction(place.degrees)} of the pad` : '';
  return [call('prediction landing', RANK.prediction, t_s, `Lands in ${whole(left)}${where}`, 'mark')];
}

const SAID: Record<string, string> = { liftoff: 'Liftoff', burnout: 'Burnout', apogee: 'Apogee' };

/** What the station knows to have happened. */
function happened({ now, story }: Heard): Call[] {
  const calls: Call[] = [];
  // The quick message has liftoff first.
  if (now.liftoff_t_s !== null) calls.push(call('liftoff', RANK.rest, now.liftoff_t_s, 'Liftoff', 'mark'));
  for (const { event, body, label, t_s } of story?.flight === now.flight ? story.events : []) {
    const said = body === 0 ? SAID[event] : undefined;
    if (said && event !== 'liftoff') calls.push(call(event, RANK.rest, t_s, said, 'mark'));
    if (event === 'first_chute' || event === 'main_chute') {
      calls.push(call(`${event} ${body}`, RANK.rest, t_s, label, 'mark'));
    }
  }
  return calls;
}

function countdown({ now }: Heard): Call[] {
  const body = now.bodies[0];
  const at = body?.phase === 'coasting' ? body.apogee?.t_s : undefined;
  if (!at || (at.p95 - at.p05) / 2 > COUNTED_WITHIN_S) return [];
  return COUNT.map((n) =>
    call(`count ${n}`, RANK.rest, at.p50 - n, n === COUNT[0] ? `Apogee in ${n}` : `${n}`, 'tick'),
  );
}

function heightStep({ now, units }: Heard): number {
  return Math.floor((now.bodies[0]?.height_m?.p50 ?? 0) / STEP[units]);
}

function landed({ now, story }: Heard): Set<number> {
  return new Set(now.bodies.flatMap((body, i) => (!body.attached && seenDown(now, story, i) ? [i] : [])));
}

const ALOUD: [RegExp, string][] = [
  [/(\d) ?m\/s\b/g, '$1 metres per second'],
  [/(\d) ?ft\/s\b/g, '$1 feet per second'],
  [/(\d) ?km\b/g, '$1 kilometres'],
  [/(\d) ?mi\b/g, '$1 miles'],
  [/(\d) ?min\b/g, '$1 minutes'],
  [/(\d) ?ft\b/g, '$1 feet'],
  [/(\d) ?m\b/g, '$1 metres'],
  [/(\d) ?s\b/g, '$1 seconds'],
  [/(\d) ?h\b/g, '$1 hours'],
  [/(\d) ?N\b/g, '$1 newtons'],
  [/(\d) ?kPa\b/g, '$1 kilopascals'],
  [/(\d) ?Pa\b/g, '$1 pascals'],
  [/(\d)°/g, '$1 degrees'],
  [/(\d),(?=\d{3})/g, '$1'],
  [/−(?=\d)/g, 'minus '],
  [/-/g, ' '],
];

/** As a voice is to read it: units in full, as voices read "m" as "em". */
export function aloud(words: string): string {
  return ALOUD.reduce((text, [from, to]) => text.replace(from, to), words);
}
