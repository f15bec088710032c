import { describe, expect, it } from 'vitest';
import { StationClock } from './clock';

describe('the station clock', () => {
  it('takes the shortest round trip of many uneven ones', () => {
    const clock = new StationClock();
    const offset = 1_795_600_000;
    // The way out takes 2 ms, the way back between 2 and 80 ms: a slow answer must not pull the clock.
    for (const back of [80, 40, 2, 60, 33]) {
      const sent = 1000 + back;
      clock.pong(sent, sent + 2 + back, (sent + 2) / 1000 + offset);
    }
    expect(clock.at(5000)).toBeCloseTo(5 + offset, 6);
  });

  it('uses the message that travelled least until a ping is back', () => {
    const clock = new StationClock();
    expect(clock.at(0)).toBeNull();
    clock.heard(1000, 100.9);
    clock.heard(2000, 101.99);
    clock.heard(3000, 102.5);
    expect(clock.at(3000)).toBeCloseTo(102.99, 6);
  });

  it('forgets everything after a sleep', () => {
    const clock = new StationClock();
    clock.pong(0, 4, 50);
    clock.reset();
    expect(clock.at(10)).toBeNull();
    clock.pong(10, 12, 900);
    expect(clock.at(11)).toBeCloseTo(900, 6);
  });
});
