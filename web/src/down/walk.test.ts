import { describe, expect, it } from 'vitest';
import { body, now, q, SITE, story, T0 } from '../lib/fixtures';
import type { BodyNow, LandingArea, PieceNow, Picture } from '../lib/messages';
import { Past } from '../lib/past';
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
      'Cam A, 510 m east of the pad, 079° true, 067° by compass.',
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

  it('says what lies nobody knows where', () => {
    const { stops, unplaced } = walkOf(
      view([lying('Body', 600, 0), { ...lying('Cam A', 0, 0), east_north_m: null, fix: null }]),
    );
    expect(stops.map((s) => s.name)).toEqual(['Body']);
    expect(unplaced.map((p) => p.name)).toEqual(['Cam A']);
  });

  describe('has what is not known to be down first, with', () => {
    const gone = body({
      name: 'Cam C',
      phase: 'descending',
      heard_t_s: T0 - 73,
      fix: { latitude_deg: 38.25, longitude_deg: -117.35457, t_s: T0 - 73 },
    });
    const picture = (area: LandingArea['area']): Picture => ({
      t_s: T0,
      flight: 1,
      paths: [],
      landings: [
        { body: 1, case: 'ballistic', t_s: q(T0), descent_mps: q(40), area },
        { body: 1, case: 'planned', t_s: q(T0), descent_mps: q(6), area },
      ],
      cues: [],
      headsups: [],
    });
    const ellipse = {
      ellipse: { centre_m: [300, 0], covariance_m2: [10_000, 0, 2500] },
    } as LandingArea['area'];
    const past = new Past();
    past.bodies.set(1, [
      {
        t_s: T0 - 73,
        height_m: 391,
        east_north_m: [-400, 0],
        carried: false,
        climb_mps: null,
        airspeed_mps: null,
        band: null,
      },
      {
        t_s: T0 - 10,
        height_m: 2,
        east_north_m: [300, 0],
        carried: true,
        climb_mps: null,
        airspeed_mps: null,
        band: null,
      },
    ]);
    const missing = (change: Partial<BodyNow> = {}, area = ellipse, here: Place | null = null) => {
      const walk = walkOf(
        view([lying('Body', 600, 0), { ...gone, ...change }], [], here),
        picture(area),
        past,
      );
      expect(walk.stops.map((s) => s.name)).toEqual(['Body']);
      return walk.missing[0];
    };

    it('when it was heard, where it was and where it is predicted to be', () => {
      const piece = missing({}, ellipse, { east_north_m: [300, 100], accuracy_m: 8, age_s: 1 });
      expect(piece).toMatchObject({
        name: 'Cam C',
        heard: 'Last heard 76 s ago.',
        seen: 'Last fix 76 s old: 400 m west of the pad, 270° true, 258° by compass, 391 m up.',
        seenGeo: 'geo:38.250000,-117.354570',
        // 2.146 deviations of 100 m hold nine in ten.
        ahead:
          'Predicted, not seen: 300 m east of the pad, 090° true, 078° by compass. 90 % area up to 215 m from there.',
        aheadGeo: 'geo:38.250000,-117.346573',
        fromYou: 'From you 100 m south, 180° true, 168° by compass.',
      });
    });

    it('no coordinates of a landing whose heading is not known', () => {
      const ring = (p05: number) =>
        missing({}, { ring: { centre_m: [0, 0], radius_m: { ...q(300, 60), p05 } } });
      expect(ring(240)).toMatchObject({
        ahead: 'Predicted, not seen: 240 m to 360 m out, its heading is not known.',
        aheadGeo: null,
      });
      expect(ring(0)?.ahead).toContain('up to 360 m out');
    });

    it('the last of its path where it has no fix, and plain words where nothing is known', () => {
      expect(missing({ fix: null })).toMatchObject({
        seen: 'Last known place, no fix, 76 s old: 400 m west of the pad, 270° true, 258° by compass, 391 m up.',
        seenGeo: null,
      });
      const unheard = { ...gone, fix: null, landing: null, transmitter: false, heard_t_s: null };
      expect(walkOf(view([lying('Body', 600, 0), unheard])).missing[0]).toMatchObject({
        heard: 'It has no radio.',
        seen: 'No place of it is known.',
        ahead: 'Where it lands is not predicted.',
      });
    });
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
    expect(walkOf(late).stops[0]?.fromPad).toBe('510 m east of the pad, 079° true.');
  });

  it('has no word that sends anybody', () => {
    const bodies = [...three, body({ name: 'Cam C', phase: 'descending' })];
    const told = walkOf(view(bodies, [piece(0)], { east_north_m: [0, 0], accuracy_m: 8, age_s: 1 }));
    expect(JSON.stringify(told)).not.toMatch(/\b(go|walk|head|proceed|fetch|recover|retrieve|safe|clear)\b/i);
  });
});
