// The part of a flight that a replay's controls reach.
import type { FlightDetail } from '../lib/messages';

/** A replay begins this long before liftoff, and goes on this long after the landing, s. */
const BEFORE_S = 5;
const AFTER_S = 5;

export interface Span {
  from_s: number;
  to_s: number;
}

export function spanOf({ liftoff_s, duration_s, from_s, to_s }: Readonly<FlightDetail>): Span {
  if (liftoff_s === null) return { from_s, to_s: Math.max(to_s, from_s + 1) };
  const from = Math.max(from_s, liftoff_s - BEFORE_S);
  const flown = duration_s === null ? to_s : Math.min(to_s, liftoff_s + duration_s + AFTER_S);
  return { from_s: from, to_s: Math.max(flown, from + 1) };
}
