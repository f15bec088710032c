// How footage stands in time: from known moments of a camera to the second of its film that shows an instant. Pure.
import type { FootageInfo } from '../lib/messages';

/** Frames a second as a fraction, as cameras count. */
export type Rate = readonly [frames: number, seconds: number];

/** The usual ones, exactly (SMPTE ST 12-1 counts by them; from memory). */
export const RATES: readonly { words: string; rate: Rate }[] = [
  { words: '23.976 (24000/1001)', rate: [24000, 1001] },
  { words: '24', rate: [24, 1] },
  { words: '25', rate: [25, 1] },
  { words: '29.97 (30000/1001)', rate: [30000, 1001] },
  { words: '30', rate: [30, 1] },
  { words: '50', rate: [50, 1] },
  { words: '59.94 (60000/1001)', rate: [60000, 1001] },
  { words: '60', rate: [60, 1] },
];

export function frameS([frames, seconds]: Rate): number {
  return seconds / frames;
}

/** How much faster the camera's clock runs than the station's: 1 where one moment is known. */
export function driftOf(moments: readonly (readonly number[])[]): number {
  const [a, b] = moments;
  if (!a || !b) return 1;
  const flown = (b[1] ?? 0) - (a[1] ?? 0);
  return flown === 0 ? 1 : ((b[0] ?? 0) - (a[0] ?? 0)) / flown;
}

/** The second of the footage that shows an instant (station time), or `null` while nothing is aligned. */
export function videoAt(camera: Pick<FootageInfo, 'moments'>, t_s: number): number | null {
  const first = camera.moments[0];
  if (!first) return null;
  return first[0] + (t_s - first[1]) * driftOf(camera.moments);
}

/** The station time that a second of the footage shows. */
export function stationAt(camera: Pick<FootageInfo, 'moments'>, video_s: number): number | null {
  const first = camera.moments[0];
  if (!first) return null;
  return first[1] + (video_s - first[0]) / driftOf(camera.moments);
}

/** The middle of the frame that is so many frames on: a seek there cannot fall to its neighbour by rounding. */
export function nudged(video_s: number, frames: number, rate: Rate): number {
  const each = frameS(rate);
  const frame = Math.floor(video_s / each + 1e-6) + frames;
  return Math.max(0, (frame + 0.5) * each);
}

/** "+12.3 ppm", of two moments. */
export function driftWords(moments: readonly (readonly number[])[]): string {
  if (moments.length < 2) return 'one moment: its clock is taken to run as the station’s';
  const ppm = (driftOf(moments) - 1) * 1e6;
  const off = Math.abs(ppm * 0.6);
  return `its clock runs ${Math.abs(ppm).toFixed(0)} ppm ${ppm < 0 ? 'slow' : 'fast'}: ${off.toFixed(0)} ms in ten minutes`;
}
