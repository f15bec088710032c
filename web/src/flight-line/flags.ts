// Where each flag hangs: rows below the axis, chosen so that no pole crosses a word and no word another.
// From right to left, the cheapest few dozen arrangements are carried on (a beam search); a clash costs far more than
// a deeper row, and a move from where the flag hung before costs a little, so that flags stay put. Where there is no room even so, a flag
// hangs without words rather than over another's.
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
  /** Whether something clashes, or hangs without words: then one row more is needed. */
  clash: boolean;
}

/** Space between a word and what comes next, px, and what less of it costs where the flag did not hang before. */
const APART = 6;
const CLOSE = 9;
const TOUCHING = 1;
const GAP = 9;
/** Poles of cues in trouble closer than this share a flag, px. */
const NEAR = 12;
const NEAR_NARROW = 28;
const BEAM = 48;
const CLASH = 1000;
/** Hanging without words, where there is room for none: dearer than any untidiness, cheaper than a clash. */
const MUTE = 250;
const MUTE_LOOK = 600;
const ROW = 1;
const LEFT = 6;
const MOVE = 2.2;

interface Partial {
  boxes: FlagBox[];
  cost: number;
}

export function hangFlags(flags: readonly Flag[], room: FlagRoom, before: Hung): Hanging {
  const inside = flags.filter((f) => room.x(f.t) >= room.leftEdge - 1 && room.x(f.t) <= room.rightEdge + 1);
  const visible = joined(inside, room).sort((a, b) => b.t - a.t);
  let beam: Partial[] = [{ boxes: [], cost: 0 }];
  for (const flag of visible) {
    const words = wordsOf(flag, room.narrow);
    const width = room.measure(words, flag.look);
    const old = before.get(flag.short);
    const next: Partial[] = [];
    for (const partial of beam) {
      for (let row = 0; row < room.rows; row += 1) {
        for (const left of [false, true]) {
          for (const mute of [false, true]) {
            const said = mute ? { words: '', width: 0 } : { words, width };
            const box: FlagBox = { ...flag, ...said, x: room.x(flag.t), row, left };
            const same = old?.row === row && old.left === left;
            const moved = old && !same ? MOVE : 0;
            const silence = mute ? (flag.look ? MUTE_LOOK : MUTE) : 0;
            const place = partial.cost + row * ROW + (left ? LEFT : 0) + moved + silence;
            next.push({
              boxes: [...partial.boxes, box],
              cost: place + costOf(box, partial.boxes, room, same),
            });
          }
        }
      }
    }
    beam = next.sort((a, b) => a.cost - b.cost).slice(0, BEAM);
  }
  const best = beam[0] ?? { boxes: [], cost: 0 };
  const hung = readable(best.boxes, room);
  const mute = hung.some((box) => box.words === '');
  return { flags: hung, clash: mute || best.cost >= CLASH };
}

/** Where two flags meet in spite of all, as a moment and a cue at nearly the same time do, the one that is in trouble keeps its words.
 * In order of time. */
function readable(boxes: readonly FlagBox[], room: FlagRoom): FlagBox[] {
  const out: FlagBox[] = [];
  // Those in trouble first: they are the last to lose their words.
  for (const box of [...boxes].sort((a, b) => Number(b.look) - Number(a.look))) {
    const [a, b] = wordsSpan(box, room);
    const over = out.some((other) => {
      const [c, d] = wordsSpan(other, room);
      return other.row === box.row && a < d && c < b;
    });
    out.push(over ? { ...box, words: '', width: 0 } : box);
  }
  return out.sort((a, b) => a.t - b.t);
}

/** Cues in trouble whose poles nearly touch share one flag, at the first one's place. */
function joined(flags: readonly Flag[], room: FlagRoom): Flag[] {
  const out: Flag[] = [];
  for (const flag of [...flags].sort((a, b) => a.t - b.t)) {
    const other = flag.look ? out.find((f) => f.look && akin(f, flag) && near(f, flag, room)) : undefined;
    if (other) {
      other.short = together(other.short, flag.short);
      other.label = together(other.label, flag.label);
      other.act ||= flag.act;
    } else {
      out.push({ ...flag });
    }
  }
  return out;
}

function akin(a: Flag, b: Flag): boolean {
  const kind = (f: Flag): string | undefined =>
    f.label.includes(' ') ? f.label.split(' ').at(-1) : undefined;
  return a.happened === b.happened && kind(a) === kind(b);
}

function near(a: Flag, b: Flag, room: FlagRoom): boolean {
  return room.x(b.t) - room.x(a.t) < (room.narrow ? NEAR_NARROW : NEAR);
}

/** "Cam B chute" and "Cam C chute" as "Cam B, C chute". */
export function together(a: string, b: string): string {
  const [first, second] = [a.split(' '), b.split(' ')];
  const last = first.at(-1);
  if (first.length > 1 && second.length > 1 && last === second.at(-1)) {
    return `${together(first.slice(0, -1).join(' '), second.slice(0, -1).join(' '))} ${last}`;
  }
  const rest = second.length > 1 && second[0] === first[0] ? second.slice(1) : second;
  return `${a}, ${rest.join(' ')}`;
}

export function wordsOf(flag: Flag, narrow: boolean): string {
  const words = narrow ? flag.short : flag.label;
  return flag.look ? `${words}: ${flag.act ? 'act' : 'look'}` : words;
}

function span(box: FlagBox, room: FlagRoom): [number, number] {
  const reach = room.pennant + (box.look ? room.triangle : 0) + box.width;
  return box.left ? [box.x - reach, box.x] : [box.x, box.x + reach];
}

/** Where the words stand, triangle included. */
function wordsSpan(box: FlagBox, room: FlagRoom): [number, number] {
  const [a, b] = span(box, room);
  if (box.words === '') return [box.x, box.x];
  return box.left ? [a, b - room.pennant] : [a + room.pennant, b];
}

/** What a place costs: leaving the paper and covering a word are clashes, coming close to one is only not nice. */
function costOf(box: FlagBox, placed: readonly FlagBox[], room: FlagRoom, kept: boolean): number {
  const [a, b] = span(box, room);
  let cost = a < room.leftEdge - 2 || b > room.rightEdge ? 3 * CLASH : 0;
  for (const other of placed) {
    const [c, d] = span(other, room);
    const meets = (apart: number): boolean => {
      // Two words in a row need a clear gap, or they read as one.
      if (box.row === other.row) return a < d + apart + GAP && c < b + apart + GAP;
      // My words over a deeper flag's pole, or my pole through a higher flag's words.
      return other.row > box.row
        ? other.x > a - apart && other.x < b + apart
        : box.x > c - apart && box.x < d + apart;
    };
    if (meets(TOUCHING)) cost += CLASH;
    else if (!kept && meets(APART)) cost += CLOSE;
  }
  return cost;
}
