// Pauses between attempts: quick at first, never longer than four seconds, with some chance in them so that a
// crowd of phones does not come back in one instant.

const FIRST_MS = 250;
const LONGEST_MS = 4000;

export function pauseMs(attempt: number, random: () => number = Math.random): number {
  const grown = Math.min(LONGEST_MS, FIRST_MS * 2 ** Math.min(attempt, 10));
  return grown * (0.7 + 0.3 * random());
}
