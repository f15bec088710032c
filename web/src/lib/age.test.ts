import { describe, expect, it } from 'vitest';
import { duration, freshness, minutes, whole } from './age';

describe('age', () => {
  it('is fresh, then old, then struck off', () => {
    expect(freshness(0.9, 1.1)).toBe('fresh');
    expect(freshness(1.2, 1.1)).toBe('old');
    expect(freshness(10, 1.1)).toBe('old');
    expect(freshness(10.1, 1.1)).toBe('struck');
    // Ten seconds hold even for a slow transmitter.
    expect(freshness(10.1, 21)).toBe('struck');
  });

  it('is said with as many digits as matter', () => {
    expect(duration(0.04)).toBe('0.0 s');
    expect(duration(3.24)).toBe('3.2 s');
    expect(duration(9.96)).toBe('10 s');
    expect(duration(-1)).toBe('0.0 s');
    expect(whole(99.4)).toBe('99 s');
    expect(whole(130)).toBe('2 min');
    expect(whole(3600 * 5)).toBe('5 h');
    expect(minutes(94.4)).toBe('1:34');
  });
});
