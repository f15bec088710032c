// Where captions come from: the station writes them, in step with the footage that they belong to.
import { driftOf, stationAt } from '../footage/align';
import type { FlightDetail, FootageInfo } from '../lib/messages';
import type { Units } from '../lib/units';

export interface Captions {
  vtt: string;
  srt: string;
}

/** Their zero is that of the footage, s since liftoff, and they count by its clock; without footage from liftoff. */
export function captionsOf(
  { number, liftoff_s, opened_s }: Pick<FlightDetail, 'number' | 'liftoff_s' | 'opened_s'>,
  camera: FootageInfo | null,
  units: Units,
): Captions {
  const query = new URLSearchParams({ units: units === 'metric' ? 'si' : 'imperial' });
  const start = camera ? stationAt(camera, 0) : null;
  if (start !== null && camera) {
    query.set('starts_s', (start - (liftoff_s ?? opened_s)).toFixed(6));
    query.set('clock_rate', driftOf(camera.moments).toFixed(9));
  }
  const at = `/api/flights/${number}/files/captions`;
  return { vtt: `${at}.vtt?${query}`, srt: `${at}.srt?${query}` };
}
