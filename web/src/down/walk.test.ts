import { describe, expect, it } from 'vitest';
import { body, now, SITE, story, T0 } from '../lib/fixtures';
import type { BodyNow, PieceNow } from '../lib/messages';
import type { Place, View } from '../watch/view';
import { walkOf } from './walk';

const lying = (name: string, east: number, north: number) =>
  body({
    name,
    phase: 'down',
    east_north_m: [east, north],
    fix: { latitude_deg: 38.25, longitude_deg: -117.35, t_s: T0 },
  });
const piece = (body: number, change: Partial<PieceNow> = {}): PieceNow => ({
  body,
  carried_by: null,
  down: true,
  place: null,
  charges: [],
  ...change,
});
function view(bodies: BodyNow[], pieces: PieceNow[] = [], here: Place | null = null): View {
  const message = now({ bodies, t_s: T0 + 3 });
  const told = story();
  return {
    now: message,
    story: { ...told, ground: { ...told.ground, pieces } },
    site: SITE,
    units: 'metric',
    t_s: message.t_s,
    lost: false,
    here,
  };
}

describe('where the pieces lie', () => {
  const three = [lying('Body', 600, 0), lying('Cam A', 500, 100), lying('Cam B', 690, 0)];

  it('goes to the nearest piece, then on to the next', () => {
    const { stops } = walkOf(view(three));
    expect(stops.map((s) => `${s.name}, ${s.fromPad}`)).toEqual([
      'Cam A, 510 m east-north-east of the pad, 079° true, 067° by compass.',
      'Body, 600 m east of the pad, 090° true, 078° by compass.',
      'Cam B, 690 m east of the pad, 090° true, 078° by compass.',
    ]);
    expect(stops[0]?.fix).toBe('Last fix 3 s old.');
    expect(stops[0]?.geo).toBe('geo:38.250000,-117.350000');
    expect(stops[0]?.fromYou).toBeNull();
  });

  it('begins where this device is, and tells the way from there', () => {
    const { stops } = walkOf(view(three, [], { east_north_m: [700, 0], accuracy_m: 8, age_s: 1 }));
    expect(stops.map((s) => s.name)).toEqual(['Cam B', 'Body', 'Cam A']);
    expect(stops[0]?.fromYou).toBe('From you 10 m west, 270° true, 258° by compass.');
  });

  it('takes the station’s word for place, bearing and doubt where it has told them', () => {
    const place = {
      latitude_deg: 38.2541,
      longitude_deg: -117.3432,
      radius_m: 11.6,
      distance_m: 601.4,
      true_deg: 359.7,
      compass_deg: 347.6,
    };
    const [stop] = walkOf(view(three, [piece(1, { place })])).stops;
    expect(stop?.fromPad).toBe('601 m north of the pad, 000° true, 348° by compass.');
    expect(stop?.fix).toBe('Last fix 3 s old, give or take 12 m.');
    expect(stop?.geo).toBe('geo:38.254100,-117.343200');
  });

  it('leaves out what is not known to be down, and says what lies nobody knows where', () => {
    const bodies = [
      lying('Body', 600, 0),
      body({ name: 'Cam C', phase: 'descending' }),
      { ...lying('Cam A', 0, 0), east_north_m: null, fix: null },
    ];
    const { stops, up, unplaced } = walkOf(view(bodies));
    expect(stops.map((s) => s.name)).toEqual(['Body']);
    expect(up).toEqual(['Cam C']);
    expect(unplaced.map((p) => p.name)).toEqual(['Cam A']);
  });

  it('calls a charge live unless it is confirmed fired, also aboard what is still carried', () => {
    const bodies = [lying('Body', 600, 0), body({ name: 'Cam C', attached: true, phase: 'down' })];
    const { stops } = walkOf(
      view(bodies, [
        piece(0, {
          charges: [
            { name: 'main out', said: 'armed' },
            { name: 'Cam A out', said: 'commanded' },
          ],
        }),
        piece(1, { carried_by: 0, charges: [{ name: 'Cam C chute', said: 'nothing' }] }),
      ]),
    );
    expect(stops).toHaveLength(1);
    expect(stops[0]?.live).toBe(
      'Treat as live, not confirmed fired: main out (armed), Cam A out (commanded only), Cam C chute (nothing heard of it).',
    );
    expect(walkOf(view([lying('Body', 600, 0)], [piece(0)])).stops[0]?.live).toBeNull();
  });

  it('names the model and the day of the compass bearings, or says that there are none', () => {
    expect(walkOf(view(three)).compass).toBe(
      'By compass: WMM2025 for 2026-11-26, declination 12.1° east, give or take 1°.',
    );
    const late = view(three);
    if (late.story) late.story.ground.compass = null;
    expect(walkOf(late).compass).toContain('No compass bearings');
    expect(walkOf(late).stops[0]?.fromPad).toBe('510 m east-north-east of the pad, 079° true.');
  });

  it('has no word that sends anybody', () => {
    const bodies = [...three, body({ name: 'Cam C', phase: 'descending' })];
    const told = walkOf(view(bodies, [piece(0)], { east_north_m: [0, 0], accuracy_m: 8, age_s: 1 }));
    expect(JSON.stringify(told)).not.toMatch(/\b(go|walk|head|proceed|fetch|recover|retrieve|safe|clear)\b/i);
  });
});
