// Where each flag hangs: rows below the axis, chosen so that no pole crosses a word and no word another.
// From right to left, each takes the highest row in which it fits (the row it had before, if that still fits).
import type { Flag } from './data';

export interface FlagBox extends Flag {
  /** Of the pole. */
  x: number;
  row: number;
  /** Whether it flies to the left of its pole. */
  left: boolean;
  /** Of the words, without the pennant. */
  words: string;
  width: number;
}

export interface FlagRoom {
  x: (t: number) => number;
  /** Width of a text as it will be written. */
  measure: (words: string, strong: boolean) => number;
  leftEdge: number;
  rightEdge: number;
  /** Pole to words: pennant and gaps. */
  pennant: number;
  /** More for the triangle of a cue in trouble. */
  triangle: number;
  narrow: boolean;
  rows: number;
}

/** Space between a word and what comes next, px. */
const APART = 6;

export function hangFlags(
  flags: readonly Flag[],
  room: FlagRoom,
  before: ReadonlyMap<string, number>,
): FlagBox[] {
  const placed: FlagBox[] = [];
  const visible = flags.filter((f) => room.x(f.t) >= room.leftEdge - 1 && room.x(f.t) <= room.rightEdge + 1);
  for (const flag of [...visible].sort((a, b) => b.t - a.t)) {
    const words = wordsOf(flag, room.narrow);
    const width = room.measure(words, flag.look);
    const x = room.x(flag.t);
    const lead = room.pennant + (flag.look ? room.triangle : 0);
    const boxAt = (row: number, left: boolean): FlagBox => ({ ...flag, x, row, left, words, width });
    const rows = Array.from({ length: room.rows }, (_, i) => i);
    const old = before.get(flag.short);
    const order = old === undefined ? rows : [old, ...rows.filter((r) => r !== old)];
    const tooFarRight = x + lead + width > room.rightEdge;
    const sides = tooFarRight ? [true, false] : [false, true];
    let chosen: FlagBox | null = null;
    for (const left of sides) {
      chosen = order.map((row) => boxAt(row, left)).find((b) => fits(b, lead, placed, room)) ?? null;
      if (chosen) break;
    }
    placed.push(chosen ?? boxAt(room.rows - 1, tooFarRight));
  }
  return placed.reverse();
}

export function wordsOf(flag: Flag, narrow: boolean): string {
  const words = narrow ? flag.short : flag.label;
  return flag.look ? `${words}: look` : words;
}

function span(box: FlagBox, room: FlagRoom): [number, number] {
  const reach = room.pennant + (box.look ? room.triangle : 0) + box.width;
  return box.left ? [box.x - reach, box.x] : [box.x, box.x + reach];
}

function fits(box: FlagBox, lead: number, placed: readonly FlagBox[], room: FlagRoom): boolean {
  const [a, b] = span(box, room);
  if (a < room.leftEdge - lead || b > room.rightEdge + 2) return false;
  return placed.every((other) => {
    const [c, d] = span(other, room);
    const overlap = a < d + APART && c < b + APART;
    if (box.row === other.row && overlap) return false;
    // My words over a deeper flag's pole, or my pole through a higher flag's words.
    if (other.row > box.row && other.x > a - APART && other.x < b + APART) return false;
    return !(other.row < box.row && box.x > c - APART && box.x < d + APART);
  });
}
