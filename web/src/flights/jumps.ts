// Where a replay can jump to: the vehicle's events and each piece's release, in order, near ones shared.
import type { EventBrief } from '../lib/messages';

export interface Jump {
  t_s: number;
  words: string;
}

/** A jump lands this much before its event, so that it is seen to happen, s. */
export const LEAD_S = 1.5;
const SHARED_S = 0.5;

export function jumpsOf(events: readonly EventBrief[]): Jump[] {
  const jumps: Jump[] = [];
  const wanted = events.filter((e) => e.body === 0 || e.event === 'freed' || e.event === 'mark');
  for (const e of [...wanted].sort((a, b) => a.t_s - b.t_s)) {
    const last = jumps.at(-1);
    if (last && e.t_s - last.t_s < SHARED_S) last.words = `${last.words}, ${e.label}`;
    else jumps.push({ t_s: e.t_s, words: e.label });
  }
  return jumps;
}
