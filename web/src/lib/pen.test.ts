import { describe, expect, it } from 'vitest';
import { penAt, type Knot } from './pen';

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
    expect(penAt(knots, -1)?.t_s).toBe(0);
    expect(penAt([], 1)).toBeNull();
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
