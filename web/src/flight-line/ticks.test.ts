import { describe, expect, it } from 'vitest';
import { keepTop, roundStep, ticks, timeTicks } from './ticks';
import { chooseScale } from './timescale';

describe('axes', () => {
  it('have round steps', () => {
    expect([0.3, 1, 1.1, 4, 7, 120].map(roundStep)).toEqual([0.5, 1, 2, 5, 10, 200]);
  });

  it('have three to five labels for any height', () => {
    for (const top of [8, 95, 130, 437, 1000, 3456, 32_000]) {
      const count = ticks(0, top, 5).filter((t) => t > 0).length;
      expect(count).toBeGreaterThanOrEqual(2);
      expect(count).toBeLessThanOrEqual(5);
    }
    expect(ticks(5, 5, 4)).toEqual([]);
  });

  it('do not breathe', () => {
    const top = keepTop(null, 400);
    expect(keepTop(top, 410)).toBe(top);
    expect(keepTop(top, 300)).toBe(top);
    expect(keepTop(top, 430)).toBeGreaterThan(top);
    expect(keepTop(top, 200)).toBeLessThan(top);
  });

  it('write times apart from one another, the unit on the last', () => {
    const scale = chooseScale({
      flight: 1,
      burntOut: true,
      now: 0,
      down: false,
      apogee: 9.6,
      firstChute: 11.1,
      landingLate: 63,
      share: 0.28,
    });
    const labels = timeTicks(scale, 800, 80).filter((t) => t.label);
    expect(labels[0]?.label).toBe('T+0');
    expect(labels.at(-1)?.label).toMatch(/^\d+ s$/);
    expect(labels.length).toBeGreaterThan(4);
  });
});
