import { describe, expect, it } from 'vitest';
import { body, headsUp, now, q, story, T0 } from '../lib/fixtures';
import type { Now, Story } from '../lib/messages';
import { aloud, Caller, type Heard } from './calls';
import { Queue } from './queue';

const heard = (message: Now, change: Partial<Heard> = {}): Heard => ({
  now: message,
  story: story(),
  headsups: message.headsups,
  t_s: message.t_s,
  units: 'metric',
  heights: false,
  ...change,
});
const words = (calls: { words: string }[]) => calls.map((c) => c.words);

/** Plays messages to a voice that takes `busy_s` for each call; gives what it said, with the second. */
function play(messages: Heard[], busy_s: number): [string, number][] {
  const caller = new Caller();
  const queue = new Queue();
  const said: [string, number][] = [];
  let free = 0;
  for (const message of messages) {
    queue.take(caller.take(message), message.t_s);
    if (message.t_s < free) continue;
    const next = queue.next(message.t_s);
    if (!next) continue;
    said.push([next.words, message.t_s - T0]);
    free = message.t_s + busy_s;
  }
  return said;
}

/** A flight at ten messages a second: burnout at 2.4, apogee at 9.6, drogue at 11. */
function flight(change: (t: number) => Partial<Heard> = () => ({})): Heard[] {
  return Array.from({ length: 150 }, (_, i) => {
    const t = i * 0.1;
    const phase = t < 0.2 ? 'waiting' : t < 2.4 ? 'powered' : t < 9.7 ? 'coasting' : 'descending';
    const height = q(Math.max(0, 412 - 4.9 * (t - 9.6) ** 2), 3);
    const main = body({ phase, height_m: height, landing: null, descent: t > 11.2 ? 'drogue' : null });
    const events: [string, number, number?][] = [
      ['liftoff', 0],
      ['burnout', 2.4],
      ['apogee', 9.6],
      ['first_chute', 11],
    ];
    const told: Story = story(events.filter(([, at]) => at <= t - 0.2) as never);
    const message = now({ t_s: T0 + t, liftoff_t_s: t < 0.2 ? null : T0, bodies: [main] });
    return heard(message, { story: told, ...change(t) });
  });
}

describe('call-outs', () => {
  it('tell a flight once, in order, each within a second of its moment', () => {
    const said = play(flight(), 0.4);
    expect(said.map(([w]) => w)).toEqual([
      'Liftoff',
      'Apogee in 7 s at 412 m',
      'Burnout',
      'Apogee in 5',
      '4',
      '3',
      '2',
      '1',
      'Apogee',
      'first chute',
    ]);
    const moments: Record<string, number> = {
      Liftoff: 0,
      Burnout: 2.4,
      '3': 6.6,
      Apogee: 9.6,
      'first chute': 11,
    };
    for (const [w, at] of said) {
      const moment = moments[w];
      if (moment === undefined) continue;
      expect(at, w).toBeGreaterThanOrEqual(moment - 1e-6);
      expect(at, w).toBeLessThanOrEqual(moment + 1);
    }
  });

  it('let a heads-up go first, and drop what it makes late', () => {
    const warned = flight((t) => (t > 5.9 && t < 8 ? { headsups: [headsUp()] } : {}));
    const said = play(warned, 0.4).map(([w]) => w);
    expect(said).toContain('Cam A goes out in 1.2 s into 43 m/s of air.');
    expect(said.filter((w) => w.startsWith('Cam A'))).toHaveLength(1);
    // A slow voice: four seconds for each.
    const slow = play(warned, 4);
    expect(slow.map(([w]) => w)).not.toContain('4');
    expect(slow.length).toBeLessThan(5);
  });

  it('are silent in a replay, and about what was before they listened', () => {
    expect(
      play(
        flight((t) => ({ now: now({ mode: 'replay', t_s: T0 + t }) })),
        0.1,
      ),
    ).toEqual([]);
    const late = flight().filter((message) => message.t_s > T0 + 12);
    expect(play(late, 0.1)).toEqual([]);
  });

  it('step through heights only when asked for, in the units chosen', () => {
    const steps = (units: 'metric' | 'imperial') =>
      play(
        flight(() => ({ heights: true, units })),
        0.05,
      )
        .map(([w]) => w)
        .filter((w) => /^[\d,]+ (m|ft)$/.test(w));
    expect(steps('metric')).toEqual(['100 m', '200 m', '300 m', '400 m']);
    expect(steps('imperial')).toEqual(['500 ft', '1000 ft']);
    expect(play(flight(), 0.05).some(([w]) => w === '100 m')).toBe(false);
  });

  it('say the air past apogee where there is much, and no apogee that is hardly known', () => {
    const { apogee } = body();
    if (!apogee) throw new Error('the fixture has an apogee');
    const of = (change: object) =>
      words(
        new Caller().take(heard(now({ bodies: [body({ apogee: { ...apogee, ...change } })], t_s: T0 + 5 }))),
      ).filter((w) => w.startsWith('Apogee in') && w.includes('at'));
    expect(of({ airspeed_mps: q(37, 3) })).toEqual(['Apogee in 5 s at 412 m, with 37 m/s of air past it']);
    expect(of({ height_m: q(412, 90) })).toEqual([]);
  });

  it('name a piece that has come down while they listened', () => {
    const caller = new Caller();
    const at = (phase: 'descending' | 'down') =>
      now({ bodies: [body({ phase }), body({ name: 'Cam A', phase: 'down' })] });
    expect(words(caller.take(heard(at('descending'), { story: null })))).not.toContain('Cam A down');
    expect(words(caller.take(heard(at('down'), { story: null })))).toContain('Body down');
    const unheard = at('down');
    unheard.bodies.forEach((piece) => (piece.heard_t_s = unheard.t_s - 60));
    const silent = new Caller();
    silent.take(heard(at('descending')));
    expect(words(silent.take(heard(unheard)))).not.toContain('Body down');
  });

  it('are read with their units in full', () => {
    expect(aloud('Cam A goes out in 1.2 s into 43 m/s of air.')).toBe(
      'Cam A goes out in 1.2 seconds into 43 metres per second of air.',
    );
    expect(aloud('Lands in 74 s, 12,345 ft north-east of the pad')).toBe(
      'Lands in 74 seconds, 12345 feet north east of the pad',
    );
    expect(aloud('leaning 57°, 2.1 km, 3 mi')).toBe('leaning 57 degrees, 2.1 kilometres, 3 miles');
  });
});
