import { describe, expect, it } from 'vitest';
import { body, now, SITE, story, T0 } from '../lib/fixtures';
import { walkOf } from './walk';

const lying = (name: string, east: number, north: number) =>
  body({
    name,
    phase: 'down',
    east_north_m: [east, north],
    fix: { latitude_deg: 38.25, longitude_deg: -117.35, t_s: T0 },
  });
const walk = (bodies: ReturnType<typeof body>[]) => {
  const message = now({ bodies, t_s: T0 + 3 });
  return walkOf({ now: message, story: story(), site: SITE, units: 'metric', t_s: message.t_s, lost: false });
};

describe('the walk', () => {
  it('goes from the pad to the nearest piece, then on to the next', () => {
    const { stops } = walk([lying('Body', 600, 0), lying('Cam A', 500, 100), lying('Cam B', 690, 0)]);
    expect(stops.map((s) => s.words)).toEqual([
      'First Cam A, 510 m, east-north-east at 079° true.',
      'Then Body, 141 m on, south-east at 135° true.',
      'Then Cam B, 90 m on, east at 090° true.',
    ]);
    expect(stops[0]?.fix).toBe('Last fix 3 s old.');
    expect(stops[0]?.geo).toBe('geo:38.250000,-117.350000');
  });

  it('leaves out what is not known to be down, and says what lies nobody knows where', () => {
    const { stops, up, unplaced } = walk([
      lying('Body', 600, 0),
      body({ name: 'Cam C', phase: 'descending' }),
      { ...lying('Cam A', 0, 0), east_north_m: null, fix: null },
    ]);
    expect(stops.map((s) => s.name)).toEqual(['Body']);
    expect(up).toEqual(['Cam C']);
    expect(unplaced).toEqual(['Cam A']);
  });
});
