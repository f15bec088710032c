// Keeping a film in step with the data: what the player is told, from where it should be and where it is. Pure.

/** Rates that Chromium's player takes; Firefox's and Safari's reach less far and clamp by themselves. */
export const SLOWEST = 0.0625;
export const FASTEST = 16;
/** Further off than this, in seconds of real time, it is sent there instead of being hurried. */
const JUMP_S = 0.25;
/** An error is made good within about this time, s. Shorter: sound and picture waver; longer: it lags after a seek. */
const CATCH_UP_S = 0.8;
/** Nearer than this there is nothing to mend, s of real time: a third of a frame. */
const STILL_S = 0.01;

export interface Told {
  /** Whether it plays by itself. */
  play: boolean;
  /** Its rate then. */
  rate: number;
  /** Where to send it first, s of footage; `null`: leave it. */
  seek: number | null;
}

/** `wanted` and `is` are seconds of footage, `speed` the rate of the flight, `drift` of the camera's clock, `half` half a
 * frame. `able`: the browser has refused no rate so far. */
export function tell(wanted: number, is: number, speed: number, drift: number, half: number): Told {
  const rate = speed * drift;
  if (speed === 0) return { play: false, rate: 1, seek: Math.abs(wanted - is) > half ? wanted : null };
  // Beyond what a player can do it stands, and is sent from place to place.
  if (rate < SLOWEST || rate > FASTEST) {
    return { play: false, rate: 1, seek: Math.abs(wanted - is) > half ? wanted : null };
  }
  const off = (wanted - is) / rate;
  if (Math.abs(off) > JUMP_S) return { play: true, rate, seek: wanted };
  if (Math.abs(off) < STILL_S) return { play: true, rate, seek: null };
  const hurried = rate * (1 + off / CATCH_UP_S);
  return { play: true, rate: Math.min(FASTEST, Math.max(SLOWEST, hurried)), seek: null };
}
