import { describe, expect, it } from 'vitest';
import { body, check, cue, now, q, SITE, story, T0 } from '../lib/fixtures';
import type { CueNow, Now } from '../lib/messages';
import { sentence } from './sentence';
import type { View } from './view';

const say = (change: Partial<Now> = {}, view: Partial<View> = {}): string => {
  const message = now(change);
  return sentence({
    now: message,
    story: story(),
    site: SITE,
    units: 'metric',
    t_s: message.t_s,
    lost: false,
    ...view,
  });
};
const cam = body({ name: 'Cam A', attached: true });

describe('the sentence', () => {
  it('on the pad counts who is heard', () => {
    const bodies = [body({ phase: 'waiting' }), body({ name: 'Cam A', phase: 'waiting', heard_t_s: T0 + 1 })];
    expect(say({ bodies, liftoff_t_s: null })).toBe('On the pad. 1 of 2 heard.');
    expect(say({ bodies: bodies.map((b) => ({ ...b, heard_t_s: null })) })).toBe(
      'Nothing heard yet from 2 transmitters.',
    );
  });

  it('on the pad counts what is within limits; what was accepted is not', () => {
    const bodies = [body({ phase: 'waiting' })];
    const readiness = [check(), check({ key: 'b', level: 'look', accepted_by: 'Mo' }), check({ key: 'c' })];
    expect(say({ bodies, liftoff_t_s: null }, { story: { ...story(), readiness } })).toBe(
      'On the pad. 1 of 1 heard, 2 of 3 by radio within limits.',
    );
    const other = { ...story(), flight: 7, readiness };
    expect(say({ bodies, liftoff_t_s: null }, { story: other })).toBe('On the pad. 1 of 1 heard.');
  });

  it('under power says height, speed and lean', () => {
    const flying = body({ phase: 'powered', height_m: q(312), airspeed_mps: q(148), lean_rad: q(0.07) });
    expect(say({ bodies: [flying] })).toBe('Climbing under power. 312 m, 148 m/s, leaning 4°.');
    expect(say({ bodies: [{ ...flying, lean_rad: null }] })).toBe('Climbing under power. 312 m, 148 m/s.');
  });

  it('in coast says when and how high, give or take', () => {
    expect(say()).toBe('Apogee in 3.2 s at 412 m, give or take 9.');
    expect(say({}, { units: 'imperial' })).toBe('Apogee in 3.2 s at 1352 ft, give or take 30.');
  });

  it('in coast and leaning says how much air goes past', () => {
    const fast = body();
    if (fast.apogee) fast.apogee = { ...fast.apogee, airspeed_mps: q(37, 3) };
    expect(say({ bodies: [fast] })).toBe('Apogee in 3.2 s at 412 m, with 37 m/s of air past it.');
    if (fast.apogee) fast.apogee = { ...fast.apogee, airspeed_mps: q(37, 20) };
    expect(say({ bodies: [fast] })).toContain('give or take');
  });

  it('in silence says for how long, and how high if it still flies', () => {
    const silent = {
      silent_since_s: T0 + 6.4 - 4,
      bodies: [body({ height_m: q(380, 16), carried_s: 4, heard_t_s: T0 + 2.4 }), cam],
    };
    const long = story([
      ['liftoff', -20],
      ['burnout', -16],
    ]);
    expect(say(silent, { story: long })).toBe('No radio for 4 s. If still flying, about 380 m.');
    expect(say({ ...silent, silent_since_s: T0 - 8 }, { story: long })).toBe(
      'No radio for 14 s. Height not known.',
    );
  });

  it('never draws silence of all radios soon after burnout as a safe flight', () => {
    expect(say({ silent_since_s: T0 + 3.1 })).toBe('All radios silent since 0.7 s after burnout. Eyes up.');
    const powered = { silent_since_s: T0 + 1.2, bodies: [body({ phase: 'powered' })] };
    expect(say(powered, { story: story([['liftoff', 0]]) })).toBe(
      'All radios silent since T+1.2 s. Eyes up.',
    );
  });

  it('names the first chute until it is overdue, and what falls without one after that', () => {
    const falling = body({ phase: 'descending', descent: 'ballistic', climb_mps: q(-4) });
    const drogue = (at: number, air: number): CueNow => ({
      ...cue({ name: 'drogue out', kind: 'chute', body: 0 }),
      t_s: q(at, 0.3),
      airspeed_mps: q(air, 3),
    });
    const main = { ...drogue(T0 + 30, 12), cue: 1, name: 'main out' };
    const words = (first: CueNow) => say({ bodies: [falling], cues: [first, main], t_s: T0 + 10 });
    expect(words(drogue(T0 + 11.3, 39))).toBe('Past apogee. Next, drogue out in 1.3 s into 39 m/s of air.');
    expect(words(drogue(T0 + 11.3, 9))).toBe('Past apogee. Next, drogue out in 1.3 s.');
    expect(words(drogue(T0 + 9, 39))).toContain('Falling nose first at 4 m/s.');
    expect(words({ ...drogue(T0 + 11.3, 39), passed: true })).toContain('Falling nose first');
    const opened = story([['first_chute', 9.5]]);
    expect(say({ bodies: [falling], cues: [main], t_s: T0 + 10 }, { story: opened })).toContain('Falling');
  });

  it('descending says under what, how fast, when and where it lands', () => {
    const falling = body({
      phase: 'descending',
      descent: 'drogue',
      climb_mps: q(-21),
      landing: { t_s: q(T0 + 80.4), east_north_m: [452, 453], descent_mps: q(6) },
    });
    expect(say({ bodies: [falling] })).toBe('Under drogue at 21 m/s. Lands in 74 s, 640 m north-east.');
    const unknown = {
      ...falling,
      descent: null,
      landing: falling.landing && { ...falling.landing, east_north_m: null },
    };
    expect(say({ bodies: [unknown] })).toBe('Coming down at 21 m/s. Lands in 74 s.');
  });

  it('on the ground says where it lies, however old the fix is', () => {
    const lying = body({
      phase: 'down',
      east_north_m: [447.6, 417.4],
      fix: { latitude_deg: 38.25, longitude_deg: -117.35, t_s: T0 + 3.4 },
      carried_s: 500,
    });
    expect(say({ bodies: [lying, { ...cam, phase: 'down' }] })).toBe(
      'Down, 612 m from the pad at 047° true, 035° by compass. Last fix 3 s old.',
    );
    const polar = { ...story(), ground: { compass: null, pieces: [] } };
    expect(say({ bodies: [lying, { ...cam, phase: 'down' }] }, { story: polar })).toBe(
      'Down, 612 m from the pad at 047° true. Last fix 3 s old.',
    );
  });

  it('on the ground says first who is not known to be down', () => {
    const lying = body({ phase: 'down' });
    const flying = body({ name: 'Cam C', phase: 'descending' });
    expect(say({ bodies: [lying, flying] })).toBe(
      'Cam C not known to be down. Stay until the range is opened.',
    );
    expect(say({ bodies: [lying, flying, { ...flying, name: 'Cam B' }] })).toBe(
      '2 pieces not known to be down. Stay until the range is opened.',
    );
    // Laid down by sums, ten seconds after its radio fell silent in the air; or with a radio that was heard there.
    const told = story([['landing', 3, 1, 'inferred']]);
    const gone = { ...flying, phase: 'down' as const, heard_t_s: T0 - 7 };
    expect(say({ bodies: [lying, gone] }, { story: told })).toContain('Cam C not known to be down.');
    expect(say({ bodies: [lying, { ...gone, heard_t_s: T0 + 3 }] }, { story: told })).toMatch(/^Down, /);
    expect(say({ bodies: [lying, { ...gone, transmitter: false, heard_t_s: null }] })).toContain('Cam C not');
  });

  it('strikes off what is older than ten seconds', () => {
    expect(say({ bodies: [body({ carried_s: 10.5 })] })).toBe('Body not heard for 11 s. Height not known.');
    expect(say({}, { lost: true, t_s: T0 + 20 })).toBe(
      'No word from the station for 14 s. Height not known.',
    );
  });

  it('says that the station is gone before what was due', () => {
    expect(say({}, { lost: true, t_s: T0 + 9 })).toMatch(/^No station for \d s\. Apogee (was )?due /);
    expect(say({ bodies: [body({ phase: 'powered' })] }, { lost: true, t_s: T0 + 9 })).toMatch(
      /^No station for \d s\. It was under power\.$/,
    );
    expect(say({ bodies: [body({ phase: 'descending' })] }, { lost: true, t_s: T0 + 9 })).toMatch(
      /^No station for \d s\. (Landing (was )?due|Height not known)/,
    );
  });

  it('fits its room: no phase needs more characters than were tried on a laptop', () => {
    const longest = [
      say(),
      say({ silent_since_s: T0 + 3.1 }),
      say({ bodies: [body({ phase: 'down' }), body({ name: 'A camera with a name', phase: 'descending' })] }),
    ];
    for (const words of longest) expect(words.length).toBeLessThanOrEqual(64);
  });
});
