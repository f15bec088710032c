import { describe, expect, it } from 'vitest';
import { Glide, penAt, type Knot } from './pen';

/** Free flight, exact: h = 20 t - 4.9 t². */
const thrown = (t: number): Knot => [t, 20 * t - 4.9 * t * t, 20 - 9.8 * t, Math.abs(20 - 9.8 * t)];

describe('the pen', () => {
  const knots = [0, 1, 2, 3].map(thrown);

  it('follows a parabola exactly between knots a second apart, through its top', () => {
    for (const t of [0.3, 1.5, 2.04, 2.7])
      expect(penAt(knots, t)?.height_m).toBeCloseTo(20 * t - 4.9 * t * t, 9);
  });

  it('stays at the last knot and says so by its time', () => {
    expect(penAt(knots, 9)).toMatchObject({ t_s: 3, height_m: knots[3]?.[1] });
    expect(penAt([], 1)).toBeNull();
  });

  it('comes to a first knot that is ahead of the clock, and does not wait there', () => {
    expect(penAt(knots, -0.05)?.height_m).toBeCloseTo(-1, 9);
    expect(penAt(knots, -9)).toEqual(penAt(knots, -0.5));
  });

  it('does not swing past its knots where a chute bends the line', () => {
    const bend: Knot[] = [
      [0, 100, -40, 40],
      [1, 90, -5, 5],
    ];
    for (let t = 0; t <= 1; t += 0.05) {
      const h = penAt(bend, t)?.height_m ?? NaN;
      expect(h).toBeLessThanOrEqual(100);
      expect(h).toBeGreaterThanOrEqual(90);
    }
  });
});

describe('the glide', () => {
  /** Straight up at 30 m/s from a height at second 0. */
  const line = (height: number) => (t_s: number) => ({
    t_s,
    height_m: height + 30 * t_s,
    climb_mps: 30,
    airspeed_mps: 31,
  });

  it('makes no jump when a packet corrects the prediction, and is on it a quarter of a second later', () => {
    const glide = new Glide();
    let before: number | null = null;
    let greatest = 0;
    for (let i = 0; i < 240; i += 1) {
      // 120 frames a second; every 50 ms another message, each off by up to six metres.
      const t = i / 120;
      const message = Math.floor(t / 0.05);
      const shown = glide.at(message, line(100 + ((message * 37) % 13) - 6), t)?.height_m ?? NaN;
      if (before !== null) greatest = Math.max(greatest, Math.abs(shown - before - 30 / 120));
      before = shown;
    }
    // Without the glide it is twelve metres.
    expect(greatest).toBeLessThan(1.3);
    const settled = glide.at('last', line(200), 2.001)?.height_m ?? NaN;
    expect(settled).toBeLessThan(180);
    // Of the hundred metres between them e^-2.73 is left.
    expect(Math.abs((glide.at('last', line(200), 2.301)?.height_m ?? NaN) - (200 + 30 * 2.301))).toBeLessThan(
      7.5,
    );
  });

  it('goes on from where it is said to be after a seek or a sleep', () => {
    const glide = new Glide();
    glide.at(1, line(100), 0);
    expect(glide.at(2, line(500), 30)?.height_m).toBe(500 + 900);
    expect(glide.at(3, () => null, 30.1)).toBeNull();
    expect(glide.at(4, line(0), 30.2)?.height_m).toBe(906);
  });
});
