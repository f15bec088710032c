import { describe, expect, it } from 'vitest';
import { decimal, distance, inWords, length, speed } from './units';

describe('units', () => {
  it('says lengths and speeds in both systems', () => {
    // 1 ft = 0.3048 m exactly (international foot, 1959): 412 m = 1351.7 ft, 37 m/s = 121.4 ft/s.
    expect(length(412, 'metric')).toBe('412 m');
    expect(length(412, 'imperial')).toBe('1352 ft');
    expect(speed(37, 'imperial')).toBe('121 ft/s');
  });

  it('says far distances in kilometres and miles', () => {
    expect(distance(12_340, 'metric')).toBe('12.3 km');
    expect(distance(16_093.44, 'imperial')).toBe('10.0 mi');
    expect(distance(612, 'metric')).toBe('612 m');
  });

  it('writes a true minus, groups from five digits on, and never writes minus nothing', () => {
    expect(decimal(-3.26, 1)).toBe('−3.3');
    expect(decimal(-0.2)).toBe('0');
    expect(decimal(1234)).toBe('1234');
    expect(decimal(12_345)).toBe('12,345');
    expect(decimal(1_234_567.5, 1)).toBe('1,234,567.5');
  });

  it('turns the metric words of a heads-up into feet and leaves other figures alone', () => {
    const words = 'Cam A goes out in 1.2 s into 43 m/s of air. Its limit is 25 m/s, at 400 m.';
    expect(inWords(words, 'metric')).toBe(words);
    expect(inWords(words, 'imperial')).toBe(
      'Cam A goes out in 1.2 s into 141 ft/s of air. Its limit is 82 ft/s, at 1312 ft.',
    );
    expect(inWords('silent for 12 min', 'imperial')).toBe('silent for 12 min');
    expect(inWords('load 3 m/s² high', 'imperial')).toBe('load 3 m/s² high');
  });
});
