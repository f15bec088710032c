import { describe, expect, it } from 'vitest';
import type { Drawn, NominalPicture } from '../lib/messages';
import { extent, frameOf, gathered, marks, pathOf, placed, roundStep } from './nominal';

const point = (away_m: number, height_m: number): Drawn => ({
  t_s: 0,
  away_m,
  height_m,
  east_north_m: [0, 0],
});

function picture(change: Partial<NominalPicture> = {}): NominalPicture {
  return {
    azimuth_rad: 0,
    nominal: [point(0, 0), point(40, 500), point(300, 0)],
    others: [],
    band: [{ centre_m: [40, 500], covariance_m2: [900, 0, 400] }],
    worst: [point(0, 0), point(-200, 400), point(-500, 0)],
    worst_airspeed_mps: 40,
    moments: [],
    ground: [],
    apogee_m: null,
    apogee_s: null,
    airspeed_at_apogee_mps: null,
    lean_rad: null,
    flights: 1000,
    stayed: 0,
    ...change,
  };
}

describe('the picture of the nominal flight', () => {
  it('has one scale for both axes and everything within', () => {
    const frame = frameOf(picture(), 570, 400);
    expect(frame.x(100) - frame.x(0)).toBeCloseTo(frame.y(0) - frame.y(100), 6);
    for (const p of [...picture().nominal, ...picture().worst]) {
      expect(frame.x(p.away_m)).toBeGreaterThanOrEqual(7.9);
      expect(frame.x(p.away_m)).toBeLessThanOrEqual(562.1);
      expect(frame.y(p.height_m)).toBeGreaterThanOrEqual(30);
    }
    expect(frame.height).toBeLessThanOrEqual(400.1);
  });

  it('holds for a flight straight up and for none', () => {
    const up = frameOf(picture({ nominal: [point(0, 0), point(0, 30000)], worst: [], band: [] }), 360, 400);
    expect(up.scale).toBeGreaterThan(0);
    const none = frameOf(picture({ nominal: [], worst: [], band: [] }), 360, 400);
    expect(Number.isFinite(none.scale)).toBe(true);
    expect(pathOf(none, [])).toBe('');
    const unlaid = frameOf(picture(), 0, 400);
    expect(marks(unlaid.left_m, unlaid.right_m, unlaid.step).length).toBeLessThan(20);
    expect(marks(0, 100, 0)).toEqual([]);
  });

  it('points of one kind close to each other share a label', () => {
    const at = (words: string, px: number) => ({ words, px, py: 0 });
    const words = (all: ReturnType<typeof at>[]): string[] => gathered(all, 20).map((p) => p.words);
    expect(words([at('apogee', 0), at('Cam A out', 4), at('Cam B out', 9), at('Cam A chute', 9)])).toEqual([
      'apogee',
      'Cam A, B out',
      'Cam A chute',
    ]);
    expect(words([at('Cam A out', 0), at('main out', 90)])).toHaveLength(2);
    expect(words([at('burnout', 0), at('rail exit', 0)])).toHaveLength(2);
  });

  it('moves labels that would cover one another', () => {
    const at = placed(
      [
        { x: 0, y: 100, width: 50 },
        { x: 10, y: 104, width: 50 },
        { x: 300, y: 102, width: 50 },
      ],
      18,
    );
    expect(at.map((l) => l.at)).toEqual([100, 102, 118]);
  });

  it('makes round steps and marks', () => {
    expect([roundStep(90), roundStep(130), roundStep(2100)]).toEqual([100, 200, 2500]);
    // 90 m are 295 feet.
    expect(roundStep(90, 1 / 0.3048)).toBeCloseTo(500 * 0.3048, 9);
    expect(marks(-130, 260, 100)).toEqual([-100, 0, 100, 200]);
  });

  it('shows the landings and the areas that are near them', () => {
    const ground = [
      {
        body: 0,
        case: 'planned',
        label: '',
        centre_m: [300, 0] as [number, number],
        covariance_m2: [2500, 0, 900] as [number, number, number],
        dots_m: [],
      },
    ];
    expect(
      extent(ground, [
        [500, 0],
        [9000, 0],
      ]),
    ).toBeCloseTo(525, 0);
  });
});
