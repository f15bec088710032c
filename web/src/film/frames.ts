// Which frames an overlay has, and which instant of the flight each of them shows. Pure: exact fractions, no rounding that
// adds up.
import type { FootageInfo } from '../lib/messages';
import { stationAt, videoAt, type Rate } from '../footage/align';

export interface Plan {
  rate: Rate;
  /** Number of the first frame; with footage it is the footage's own. */
  first: number;
  count: number;
  /** Station time that a frame shows, by its number. */
  at: (frame: number) => number;
}

/** Seconds from the first frame's beginning to that of another. */
export function secondsOf(frame: number, [frames, seconds]: Rate): number {
  return (frame * seconds) / frames;
}

/** From one instant of the flight to another, by the flight's own time; frame 0 shows the first instant. */
export function planOf(rate: Rate, from_s: number, to_s: number): Plan {
  const [frames, seconds] = rate;
  const count = Math.max(1, Math.ceil(((to_s - from_s) * frames) / seconds - 1e-9));
  return { rate, first: 0, count, at: (frame) => from_s + secondsOf(frame, rate) };
}

/** The same for footage: frame 437 of the overlay belongs over frame 437 of the film. */
export function planOver(camera: FootageInfo, from_s: number, to_s: number): Plan | null {
  const rate: Rate = camera.rate;
  const [frames, seconds] = rate;
  const a = videoAt(camera, from_s);
  const b = videoAt(camera, to_s);
  if (a === null || b === null || b <= 0) return null;
  const number = (video_s: number): number => Math.floor((video_s * frames) / seconds + 1e-6);
  const first = Math.max(0, number(a));
  const count = Math.max(1, number(b) - first + 1);
  return { rate, first, count, at: (frame) => stationAt(camera, secondsOf(frame, rate)) ?? from_s };
}

/** "overlay-000437.png" */
export function nameOf(frame: number): string {
  return `overlay-${String(frame).padStart(6, '0')}.png`;
}
