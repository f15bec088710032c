// What an age means for a value (fresh, old, struck off) and how ages and durations are said.

/** Older than this a value leaves the sentence, s. */
export const STRUCK_AFTER_S = 10;

export type Freshness = 'fresh' | 'old' | 'struck';

export function freshness(ageS: number, staleAfterS: number): Freshness {
  if (ageS > STRUCK_AFTER_S) return 'struck';
  return ageS > staleAfterS ? 'old' : 'fresh';
}

/** "0.4 s" below ten seconds, else "12 s", "3 min", "2 h". */
export function duration(seconds: number): string {
  const s = Math.max(0, seconds);
  if (s < 9.95) return `${s.toFixed(1)} s`;
  return whole(s);
}

/** In whole seconds, minutes or hours. */
export function whole(seconds: number): string {
  const s = Math.max(0, Math.round(seconds));
  if (s < 100) return `${s} s`;
  const minutes = Math.round(s / 60);
  return minutes < 100 ? `${minutes} min` : `${Math.round(minutes / 60)} h`;
}

/** "1:34" for a length of time on a list. */
export function minutes(seconds: number): string {
  const s = Math.max(0, Math.round(seconds));
  return `${Math.floor(s / 60)}:${String(s % 60).padStart(2, '0')}`;
}

/** Local time of day. */
export function clock(utcS: number, seconds = true): string {
  const date = new Date(utcS * 1000);
  const two = (n: number): string => String(n).padStart(2, '0');
  return `${two(date.getHours())}:${two(date.getMinutes())}${seconds ? `:${two(date.getSeconds())}` : ''}`;
}
