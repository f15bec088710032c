// The words along the top of the height plot: both sides of the time break; "now", which moves with the pen and steps
// down a row where they are in its way; and what the hatch means.
import { duration } from '../lib/age';
import type { Geometry } from './geometry';
import { fractionAt, type TimeScale } from './timescale';

export interface HeadWords {
  words: string;
  x: number;
  align: 'left' | 'right';
}

interface Headed {
  geometry: Geometry;
  scale: TimeScale;
}

type Width = (words: string) => number;

const BESIDE = 9;

/** What is written on both sides of the time break. */
export function breakWords(factor: number, narrow: boolean): [string, string] {
  return narrow ? ['×1', `time ×${factor}`] : ['time ×1', `from here, time ×${factor}`];
}

export function headWords({ geometry, scale }: Headed): HeadWords[] {
  if (scale.breakAt === null) return [];
  const { main, narrow } = geometry;
  const x = main.x + fractionAt(scale, scale.breakAt) * main.w;
  const [before, after] = breakWords(scale.factor, narrow);
  return [
    { words: before, x: x - BESIDE, align: 'right' },
    { words: after, x: x + BESIDE, align: 'left' },
  ];
}

export function nowWords(t: number, narrow: boolean): string {
  return `${narrow ? '' : 'now, '}T+${duration(Math.max(0, t))}`;
}

export interface NowSpot extends HeadWords {
  /** 0 along the top, 1 below it. */
  row: number;
}

/** Where "now" is written: beside the now line, left of it if it can be. */
export function nowSpot(t: number, x: number, headed: Headed, width: Width): NowSpot {
  const { main, narrow } = headed.geometry;
  const words = nowWords(t, narrow);
  const w = width(words) + BESIDE + 4;
  const taken = headWords(headed).map((h): [number, number] => {
    const wide = width(h.words);
    return h.align === 'left' ? [h.x - BESIDE, h.x + wide + 4] : [h.x - wide - 4, h.x + BESIDE];
  });
  const inside = (a: number, b: number): boolean => a >= main.x && b <= main.x + main.w;
  const free = (a: number, b: number): boolean => inside(a, b) && taken.every(([c, d]) => b < c || a > d);
  const left = { words, x: x - BESIDE, align: 'right' } as const;
  const right = { words, x: x + BESIDE, align: 'left' } as const;
  if (free(x - w, x)) return { ...left, row: 0 };
  if (free(x, x + w)) return { ...right, row: 0 };
  return inside(x, x + w) ? { ...right, row: 1 } : { ...left, row: 1 };
}

/** What the hatch means: at its left edge, inside it once it is wide enough. */
export function hatchSpot(words: string, from: number, to: number, width: Width): NowSpot {
  const inside = to - from > width(words) + 2 * BESIDE;
  return inside
    ? { words, x: from + BESIDE, align: 'left', row: 1 }
    : { words, x: from - BESIDE, align: 'right', row: 1 };
}
