import { describe, expect, it } from 'vitest';
import { body, now, T0 } from './fixtures';
import type { Track } from './messages';
import { Past } from './past';

const at = (t: number, change = {}) =>
  now({ t_s: T0 + t, bodies: [body({ at_t_s: T0 + t, heard_t_s: T0 + t, ...change })] });
const track = (times: number[], height: number): Track => ({
  bodies: [
    {
      body: 0,
      t_s: times.map((t) => T0 + t),
      height_m: times.map(() => height),
      climb_mps: times.map(() => 1),
      airspeed_mps: times.map(() => 1),
      east_m: times.map(() => null),
      north_m: times.map(() => null),
    },
  ],
});

describe('the past', () => {
  it('grows by messages, takes none twice and none from before', () => {
    const past = new Past();
    expect(past.append(at(1))).toBe(false);
    past.append(at(1));
    past.append(at(0.5));
    past.append(at(1.05));
    expect(past.of(0).map((p) => p.t_s - T0)).toEqual([1, expect.closeTo(1.05, 5)]);
  });

  it('says when there is a gap that the track could fill, and fills it', () => {
    const past = new Past();
    past.append(at(1));
    expect(past.append(at(9))).toBe(true);
    past.fill(track([1, 3, 5, 7, 9], 77));
    expect(past.of(0).length).toBe(5);
    expect(past.of(0).map((p) => p.height_m)).toEqual([77, 77, 77, 77, 77]);
    past.append(at(9.1));
    expect(past.of(0).at(-1)?.height_m).toBe(360);
  });

  it('keeps what was carried through silence, with its band', () => {
    const past = new Past();
    past.append(at(1));
    past.append(at(2, { carried_s: 1.5, heard_t_s: T0 + 0.5 }));
    past.fill(track([1, 2, 3], 50));
    const carried = past.of(0).filter((p) => p.carried);
    expect(carried.length).toBe(1);
    expect(carried[0]?.band?.p95).toBe(363);
  });

  it('does not call a figure silent that is only behind while its radio is heard', () => {
    const past = new Past();
    past.append(at(2, { carried_s: 3 }));
    expect(past.of(0)[0]?.carried).toBe(false);
  });

  it('leaves out what is attached, and begins anew with another flight', () => {
    const past = new Past();
    past.append(now());
    expect(past.of(1)).toEqual([]);
    past.append(now({ flight: 2, t_s: T0 + 100, bodies: [body({ at_t_s: T0 + 100 })] }));
    expect(past.of(0).length).toBe(1);
  });
});
