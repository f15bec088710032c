// Where each flag hangs: rows below the axis, chosen so that no pole crosses a word and no word another.
// From right to left, the cheapest few dozen arrangements are carried on (a beam search); a clash costs far more than
// a deeper row, and a move from where the flag hung before costs a little, so that flags stay put.
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

/** Row and side that a flag had before, by its short label. */
export type Hung = ReadonlyMap<string, { row: number; left: boolean }>;

export interface Hanging {
  flags: FlagBox[];
  /** Whether something clashes all the same: then one row more is needed. */
  clash: boolean;
}

/** Space between a word and what comes next, px; less where a flag already hung, so that it need not move at once. */
const APART = 6;
const APART_KEPT = 1;
const BEAM = 48;
const CLASH = 1000;
const ROW = 1;
const LEFT = 6;
const MOVE = 2.2;

interface Partial {
  boxes: FlagBox[];
  cost: number;
}

export function hangFlags(flags: readonly Flag[], room: FlagRoom, before: Hung): Hanging {
  const visible = flags
    .filter((f) => room.x(f.t) >= room.leftEdge - 1 && room.x(f.t) <= room.rightEdge + 1)
    .sort((a, b) => b.t - a.t);
  let beam: Partial[] = [{ boxes: [], cost: 0 }];
  for (const flag of visible) {
    const words = wordsOf(flag, room.narrow);
    const width = room.measure(words, flag.look);
    const old = before.get(flag.short);
    const next: Partial[] = [];
    for (const partial of beam) {
      for (let row = 0; row < room.rows; row += 1) {
        for (const left of [false, true]) {
          const box: FlagBox = { ...flag, x: room.x(flag.t), row, left, words, width };
          const same = old?.row === row && old.left === left;
          const moved = old && !same ? MOVE : 0;
          const cost =
            partial.cost +
            row * ROW +
            (left ? LEFT : 0) +
            moved +
            CLASH * clashes(box, partial.boxes, room, same ? APART_KEPT : APART);
          next.push({ boxes: [...partial.boxes, box], cost });
        }
      }
    }
    beam = next.sort((a, b) => a.cost - b.cost).slice(0, BEAM);
  }
  const best = beam[0] ?? { boxes: [], cost: 0 };
  return { flags: [...best.boxes].reverse(), clash: best.cost >= CLASH };
}

export function wordsOf(flag: Flag, narrow: boolean): string {
  const words = narrow ? flag.short : flag.label;
  return flag.look ? `${words}: look` : words;
}

function span(box: FlagBox, room: FlagRoom): [number, number] {
  const reach = room.pennant + (box.look ? room.triangle : 0) + box.width;
  return box.left ? [box.x - reach, box.x] : [box.x, box.x + reach];
}

function clashes(box: FlagBox, placed: readonly FlagBox[], room: FlagRoom, apart: number): number {
  const [a, b] = span(box, room);
  let count = a < room.leftEdge - 2 || b > room.rightEdge ? 1 : 0;
  for (const other of placed) {
    const [c, d] = span(other, room);
    if (box.row === other.row && a < d + apart && c < b + apart) count += 1;
    // My words over a deeper flag's pole, or my pole through a higher flag's words.
    else if (other.row > box.row && other.x > a - apart && other.x < b + apart) count += 1;
    else if (other.row < box.row && box.x > c - apart && box.x < d + apart) count += 1;
  }
  return count;
}
