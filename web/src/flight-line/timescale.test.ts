import { describe, expect, it } from 'vitest';
import { chooseScale, fractionAt, keepScale, timeAtFraction, type Ahead } from './timescale';

const AHEAD: Ahead = {
  flight: 1,
  burntOut: true,
  now: 4,
  down: false,
  apogee: 9.6,
  firstChute: 11.1,
  landingLate: 63,
  share: 0.28,
};

describe('the time axis', () => {
  it('breaks at the first chute, by a whole factor, and shows the whole descent', () => {
    const scale = chooseScale(AHEAD);
    expect(scale.breakAt).toBe(11.1);
    expect(scale.factor).toBe(12);
    expect(fractionAt(scale, 63)).toBeLessThan(1);
    expect(fractionAt(scale, 0)).toBeGreaterThan(0);
    // Even on both sides: twelve seconds right of the break are as wide as one left of it.
    const left = fractionAt(scale, 8) - fractionAt(scale, 7);
    const right = fractionAt(scale, 32) - fractionAt(scale, 20);
    expect(right).toBeCloseTo(left, 9);
  });

  it('reads back', () => {
    const scale = chooseScale(AHEAD);
    for (const t of [-0.3, 0, 5, 11.1, 11.2, 40, 63])
      expect(timeAtFraction(scale, fractionAt(scale, t))).toBeCloseTo(t, 9);
  });

  it('never breaks before apogee', () => {
    expect(chooseScale({ ...AHEAD, firstChute: 8 }).breakAt).toBe(9.6);
  });

  it('runs evenly when nothing deploys, or when the descent is short', () => {
    expect(chooseScale({ ...AHEAD, firstChute: null }).breakAt).toBeNull();
    expect(chooseScale({ ...AHEAD, landingLate: 16 }).breakAt).toBeNull();
  });

  it('does not slide while people watch', () => {
    const scale = chooseScale(AHEAD);
    for (const change of [
      { firstChute: 11.6 },
      { firstChute: 10.4, landingLate: 58 },
      { landingLate: 64 },
      { now: 30 },
    ]) {
      expect(keepScale(scale, { ...AHEAD, ...change })).toBe(scale);
    }
  });

  it('is chosen anew at burnout, by another flight, and when apogee crosses the break', () => {
    const before = chooseScale({ ...AHEAD, burntOut: false, firstChute: 12.4, apogee: 10.9 });
    expect(keepScale(before, AHEAD).breakAt).toBe(11.1);
    const scale = chooseScale(AHEAD);
    expect(keepScale(scale, { ...AHEAD, flight: 2, firstChute: 20, apogee: 18 }).breakAt).toBe(20);
    expect(keepScale(scale, { ...AHEAD, apogee: 12, firstChute: 13.5 }).breakAt).toBe(13.5);
  });

  it('makes room for a longer descent without moving the climb', () => {
    const scale = chooseScale(AHEAD);
    const longer = keepScale(scale, { ...AHEAD, landingLate: 120 });
    expect(fractionAt(longer, 120)).toBeLessThan(1);
    expect(fractionAt(longer, 5)).toBeCloseTo(fractionAt(scale, 5), 9);
    expect(Number.isInteger(longer.factor)).toBe(true);
  });

  it('holds for flights of 100 m and of 30 km, and with nothing known', () => {
    for (const [apogee, chute, landing] of [
      [4.4, 5, 22],
      [75, 76, 1400],
    ] as const) {
      const scale = chooseScale({ ...AHEAD, apogee, firstChute: chute, landingLate: landing });
      expect(fractionAt(scale, chute)).toBeGreaterThan(0.5);
      expect(fractionAt(scale, landing)).toBeLessThanOrEqual(1);
    }
    const unknown = chooseScale({ ...AHEAD, now: 0, apogee: null, firstChute: null, landingLate: null });
    expect(unknown.to).toBeGreaterThan(5);
  });
});
