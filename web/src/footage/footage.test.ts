import { describe, expect, it } from 'vitest';
import { driftOf, driftWords, frameS, nudged, stationAt, videoAt } from './align';
import { delayS, levels, onset, propose, soundMps, waveform } from './sound';
import { tell } from './step';

/** Noise that is the same every time (Park and Miller's generator). */
function noise(seed: number): () => number {
  let state = seed;
  return () => {
    state = (state * 48271) % 0x7fffffff;
    return (state / 0x7fffffff) * 2 - 1;
  };
}

/** A range with wind, and a motor that is heard from `at` on for three seconds. */
function film(
  at: number,
  quiet: number,
  loud: number,
  seed: number,
): { samples: Float32Array; rate: number } {
  const rate = 8000;
  const next = noise(seed);
  const samples = new Float32Array(rate * 30);
  for (let i = 0; i < samples.length; i += 1) {
    const t = i / rate;
    const gust = 1 + 0.5 * Math.sin(t * 1.3);
    const motor = t >= at && t < at + 3 ? loud * Math.min(1, (t - at) / 0.03) : 0;
    samples[i] = next() * (quiet * gust + motor);
  }
  return { samples, rate };
}

describe('the moments of a camera', () => {
  it('one moment places the footage, a second one tells its drift', () => {
    const one: { moments: [number, number][] } = { moments: [[12, 1000]] };
    expect(videoAt(one, 1010)).toBe(22);
    expect(stationAt(one, 22)).toBe(1010);
    // A clock that is 50 ppm fast is 30 ms ahead after ten minutes.
    const two: { moments: [number, number][] } = {
      moments: [
        [12, 1000],
        [612.03, 1600],
      ],
    };
    expect(driftOf(two.moments)).toBeCloseTo(1 + 50e-6, 9);
    expect(videoAt(two, 1300)).toBeCloseTo(312.015, 6);
    expect(stationAt(two, 312.015)).toBeCloseTo(1300, 6);
    expect(driftWords(two.moments)).toBe('its clock runs 50 ppm fast: 30 ms in ten minutes');
    expect(videoAt({ moments: [] }, 1000)).toBeNull();
  });

  it('a nudge goes from the middle of one frame to that of another, by exact fractions', () => {
    const rate = [30000, 1001] as const;
    let at = nudged(10, 0, rate);
    for (let i = 0; i < 5000; i += 1) at = nudged(at, 1, rate);
    expect(Math.floor(at / frameS(rate))).toBe(Math.floor(10 / frameS(rate)) + 5000);
    expect((at / frameS(rate)) % 1).toBeCloseTo(0.5, 6);
    for (let i = 0; i < 5000; i += 1) at = nudged(at, -1, rate);
    expect(at).toBeCloseTo(nudged(10, 0, rate), 9);
    expect(nudged(0.01, -10, rate)).toBeGreaterThanOrEqual(0);
  });
});

describe('liftoff from the sound', () => {
  it('sound takes 0.44 s over 150 m', () => {
    expect(soundMps(20)).toBeCloseTo(343.2, 1);
    expect(delayS(150, 20)).toBeCloseTo(0.437, 3);
    expect(delayS(150, 0)).toBeCloseTo(0.4528, 4);
  });

  it('the onset is found within two hundredths of a second, in wind too', () => {
    for (const [at, quiet, loud, seed] of [
      [7.5, 0.002, 0.5, 11],
      [12.34, 0.02, 0.4, 5],
      [21.003, 0.05, 0.6, 77],
      [4, 0.0001, 0.02, 3],
    ] as const) {
      const { samples, rate } = film(at, quiet, loud, seed);
      const found = onset(levels(samples, rate));
      expect(found, `at ${at}`).not.toBeNull();
      expect(Math.abs((found?.at_s ?? 0) - at), `at ${at}, found ${found?.at_s}`).toBeLessThan(0.02);
    }
  });

  it('where nothing rises it says nothing', () => {
    const { samples, rate } = film(100, 0.05, 0, 9);
    expect(onset(levels(samples, rate))).toBeNull();
    expect(onset(new Float32Array(3))).toBeNull();
  });

  it('goes back from what is heard to first motion', () => {
    const said = propose({ at_s: 12.5, rise_db: 30 }, 150, 20, 0.2);
    expect(said.liftoff_s).toBeCloseTo(12.5 - 0.437 + 0.2, 3);
  });

  it('a waveform has the loudest of each column', () => {
    const samples = new Float32Array([0, 0.5, -0.25, 0, 0, 0, 1, 0]);
    expect(waveform(samples, 8, 0, 1, 2)).toEqual([
      [-0.25, 0.5],
      [0, 1],
    ]);
  });
});

describe('a film in step', () => {
  it('is left alone when it is in place, hurried when it is near, sent when it is far', () => {
    expect(tell(10, 10.001, 1, 1, 0.017)).toEqual({ play: true, rate: 1, seek: null });
    const late = tell(10, 9.9, 1, 1, 0.017);
    expect(late.seek).toBeNull();
    expect(late.rate).toBeCloseTo(1.125, 3);
    expect(tell(10, 8, 1, 1, 0.017).seek).toBe(10);
    expect(tell(10, 9.9, 0, 1, 0.017)).toEqual({ play: false, rate: 1, seek: 10 });
    expect(tell(10, 10.01, 0, 1, 0.017).seek).toBeNull();
  });

  it('comes nearer by itself at any speed that a player can do', () => {
    for (const speed of [0.1, 0.5, 1, 2, 5, 10]) {
      let wanted = 50;
      let is = 50 - 0.2 * speed;
      for (let i = 0; i < 300; i += 1) {
        const { rate, seek } = tell(wanted, is, speed, 1.00005, 0.017);
        is = seek ?? is + rate / 60;
        wanted += (speed * 1.00005) / 60;
      }
      expect(Math.abs(wanted - is) / speed, `at ${speed}x`).toBeLessThan(0.03);
    }
  });

  it('beyond that it is sent from place to place', () => {
    expect(tell(40, 10, 20, 1, 0.017)).toEqual({ play: false, rate: 1, seek: 40 });
    expect(tell(40, 39.5, 0.05, 1, 0.017).play).toBe(false);
  });
});
