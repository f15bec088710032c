import { describe, expect, it } from 'vitest';
import type { Q } from './messages';
import { halfWidth, interval, negated, scaled, shifted } from './quantity';

const around = (p50: number, below: number, above = below): Q => ({
  p05: p50 - below,
  p25: p50 - below / 2,
  p50,
  p75: p50 + above / 2,
  p95: p50 + above,
});

describe('intervals', () => {
  it('are written as plus or minus half the 90 % interval', () => {
    expect(interval(around(412, 9))).toBe('± 9');
    expect(interval(around(3.2, 0.21), 1)).toBe('± 0.2');
  });

  it('never shrink to nothing', () => {
    expect(halfWidth(around(412, 0.1))).toBe('1');
    expect(halfWidth(around(3.2, 0.01), 1)).toBe('0.1');
  });

  it('are written as a range where the sides differ much', () => {
    expect(interval(around(412, 9, 30))).toBe('403 to 442');
    expect(interval(around(412, 1, 2))).toBe('± 2');
  });

  it('keep their order when turned upside down, scaled and shifted', () => {
    const q = around(-14, 2, 5);
    const turned = negated(q);
    expect(turned.p05).toBe(9);
    expect(turned.p50).toBe(14);
    expect(turned.p95).toBe(16);
    expect(scaled(q, 2).p95).toBe(-18);
    expect(shifted(q, 14).p50).toBe(0);
  });
});
