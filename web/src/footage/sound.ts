// Liftoff from the sound of the footage: when the motor is first heard, and how long its sound was under way. Pure.
//
// The level is taken every 10 ms. Before ignition a range is fairly quiet, afterwards a motor is loud for a second and more:
// the onset is where the level after stands furthest above the level before. It is then looked for from there backwards:
// the first instant that stands a quarter of the way up. Limit: wind in the microphone, a crowd that counts down, and a
// motor that builds up slowly make it late or wrong, which is why a person sees the waveform and decides.

/** Between two levels, s. */
export const LEVEL_S = 0.01;
/** What is compared on both sides, s. */
const BEFORE_S = 2;
const AFTER_S = 0.8;
/** The onset itself is sought so far back from the steepest rise, s. */
const BACK_S = 0.6;
/** Less than this is no motor, dB. By judgement, no source. */
const LEAST_DB = 9;

/** Speed of sound in dry air, m/s: 331.3 m/s at 0 °C, growing with the square root of absolute temperature (ideal gas;
 * the constant as in common tables, from memory). Humid air is up to 0.4 % faster. */
export function soundMps(celsius: number): number {
  return 331.3 * Math.sqrt(1 + celsius / 273.15);
}

/** How long sound is under way from the pad to the camera, s. */
export function delayS(distance_m: number, celsius: number): number {
  return distance_m / soundMps(celsius);
}

/** Levels in dB of full scale, one every `LEVEL_S`, of a sound at so many samples a second. */
export function levels(samples: Float32Array, rate: number): Float32Array {
  const each = Math.max(1, Math.round(rate * LEVEL_S));
  const found = new Float32Array(Math.floor(samples.length / each));
  for (let i = 0; i < found.length; i += 1) {
    let sum = 0;
    for (let k = i * each; k < (i + 1) * each; k += 1) sum += (samples[k] ?? 0) ** 2;
    found[i] = 10 * Math.log10(sum / each + 1e-10);
  }
  return found;
}

export interface Onset {
  /** When it is first heard, s of footage. */
  at_s: number;
  /** How far the level rises, dB. */
  rise_db: number;
}

/** When a motor is first heard, or `null` where nothing rises enough. */
export function onset(level: Float32Array): Onset | null {
  const before = Math.round(BEFORE_S / LEVEL_S);
  const after = Math.round(AFTER_S / LEVEL_S);
  const sum = new Float64Array(level.length + 1);
  for (let i = 0; i < level.length; i += 1) sum[i + 1] = (sum[i] ?? 0) + (level[i] ?? 0);
  const mean = (from: number, to: number): number => ((sum[to] ?? 0) - (sum[from] ?? 0)) / (to - from);
  let best = -1;
  let most = LEAST_DB;
  for (let i = Math.round(0.3 / LEVEL_S); i + after <= level.length; i += 1) {
    const rise = mean(i, i + after) - mean(Math.max(0, i - before), i);
    if (rise > most) [best, most] = [i, rise];
  }
  if (best < 0) return null;
  const back = Math.round(BACK_S / LEVEL_S);
  const floor = mean(Math.max(0, best - before), Math.max(1, best - Math.min(back, best - 1)));
  const enough = floor + most / 4;
  // From where it is surely loud, back to where it last was not.
  let at = Math.min(level.length - 1, best + Math.round(0.05 / LEVEL_S));
  while (at > Math.max(0, best - back) && (level[at - 1] ?? -100) > enough) at -= 1;
  return { at_s: at * LEVEL_S, rise_db: most };
}

export interface Proposal extends Onset {
  /** How long the sound was under way, s. */
  delay_s: number;
  /** The second of the footage in which the vehicle first moves. */
  liftoff_s: number;
}

/** First motion comes `lead_s` after ignition, and ignition was `delay` before it was heard. */
export function propose(heard: Onset, distance_m: number, celsius: number, lead_s: number): Proposal {
  const delay = delayS(distance_m, celsius);
  return { ...heard, delay_s: delay, liftoff_s: heard.at_s - delay + lead_s };
}

/** The loudest and the quietest of each column, -1 to 1: a waveform so many columns wide. */
export function waveform(
  samples: Float32Array,
  rate: number,
  from_s: number,
  to_s: number,
  columns: number,
): [number, number][] {
  const found: [number, number][] = [];
  for (let c = 0; c < columns; c += 1) {
    const a = Math.max(0, Math.floor((from_s + ((to_s - from_s) * c) / columns) * rate));
    const b = Math.min(samples.length, Math.ceil((from_s + ((to_s - from_s) * (c + 1)) / columns) * rate));
    let low = 0;
    let high = 0;
    for (let k = a; k < b; k += 1) {
      const v = samples[k] ?? 0;
      if (v < low) low = v;
      if (v > high) high = v;
    }
    found.push([low, high]);
  }
  return found;
}
