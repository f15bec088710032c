import { describe, expect, it } from 'vitest';
import type { Flag } from './data';
import { hangFlags, together, type FlagBox, type FlagRoom } from './flags';

const flag = (t: number, label: string, change: Partial<Flag> = {}): Flag => ({
  t,
  label,
  short: label,
  happened: false,
  look: false,
  act: false,
  ...change,
});
const ROOM: FlagRoom = {
  x: (t) => 54 + t * 45,
  measure: (words) => words.length * 8,
  leftEdge: 54,
  rightEdge: 890,
  pennant: 18,
  triangle: 20,
  narrow: false,
  rows: 4,
};

/** What is looked at on the picture, worked out anew: words over words, and poles through words. */
function faults(boxes: readonly FlagBox[]): string[] {
  const found: string[] = [];
  const words = (b: FlagBox): [number, number] => {
    const lead = 18 + (b.look ? 20 : 0);
    return b.left ? [b.x - lead - b.width, b.x - lead] : [b.x + lead, b.x + lead + b.width];
  };
  for (const a of boxes) {
    const [l, r] = words(a);
    if (l < 54 || r > 890) found.push(`${a.label} leaves the paper`);
    for (const b of boxes) {
      if (a === b) continue;
      const [c, d] = words(b);
      if (a.row === b.row && l < d && c < r) found.push(`${a.label} over ${b.label}`);
      if (b.row >= a.row && b.x > l && b.x < r) found.push(`pole of ${b.label} through ${a.label}`);
    }
  }
  return found;
}

const FLIGHT = [
  flag(0, 'liftoff'),
  flag(0.4, 'rail exit'),
  flag(2.4, 'burnout'),
  flag(7.6, 'Cam A out', { look: true }),
  flag(9.6, 'apogee, Cam B'),
  flag(10.7, 'Cam C out'),
  flag(11.1, 'drogue out'),
  flag(14.5, 'main out'),
  flag(17.6, 'down ± 5 s'),
];

describe('flags', () => {
  it('hang so that no pole crosses a word and no word another', () => {
    const { flags, clash } = hangFlags(FLIGHT, ROOM, new Map());
    expect(flags.length).toBe(FLIGHT.length);
    expect(faults(flags)).toEqual([]);
    expect(clash).toBe(false);
  });

  it('turn left near the right edge', () => {
    const { flags } = hangFlags([flag(18, 'down ± 5 s')], ROOM, new Map());
    expect(flags[0]?.left).toBe(true);
    expect(faults(flags)).toEqual([]);
  });

  it('stay where they hung while times move a little', () => {
    const first = hangFlags(FLIGHT, ROOM, new Map()).flags;
    const hung = new Map(first.map((f) => [f.short, { row: f.row, left: f.left }]));
    for (const shift of [0.05, -0.07, 0.1]) {
      const moved = FLIGHT.map((f) => (f.t > 3 ? { ...f, t: f.t + shift } : f));
      const { flags } = hangFlags(moved, ROOM, hung);
      expect(flags.map((f) => [f.row, f.left])).toEqual(first.map((f) => [f.row, f.left]));
    }
  });

  it('say when a row more is needed', () => {
    const crowd = [5, 5.4, 5.8, 6.2, 6.6].map((t, i) => flag(t, `a very long label ${i}`));
    expect(hangFlags(crowd, { ...ROOM, rows: 1 }, new Map()).clash).toBe(true);
    expect(hangFlags(crowd, { ...ROOM, rows: 5 }, new Map()).clash).toBe(false);
  });

  it('use the short word on a phone, and always the word "look"', () => {
    const { flags } = hangFlags(
      [flag(5, 'Cam A out', { short: 'Cam A', look: true })],
      { ...ROOM, narrow: true },
      new Map(),
    );
    expect(flags[0]?.words).toBe('Cam A: look');
  });

  it('shares one flag among cues in trouble that nearly touch, sooner on a narrow page', () => {
    const look = (t: number, label: string, short: string) => flag(t, label, { short, look: true });
    const crowd = [
      look(9.6, 'Cam B out', 'Cam B'),
      look(10.0, 'Cam C out', 'Cam C'),
      look(10.1, 'Cam B chute', 'Cam B chute'),
      look(10.2, 'Cam C chute', 'Cam C chute'),
    ];
    const { flags } = hangFlags(crowd, { ...ROOM, narrow: true }, new Map());
    expect(flags.map((f) => f.words)).toEqual(['Cam B, C: look', 'Cam B, C chute: look']);
    const wide = hangFlags(crowd, ROOM, new Map());
    expect(wide.flags.map((f) => f.words)).toEqual([
      'Cam B out: look',
      'Cam C out: look',
      'Cam B, C chute: look',
    ]);
  });

  it('leave the words to the cue in trouble where two must hang at one place', () => {
    const both = [flag(5, 'Cam B out', { look: true }), flag(5.02, 'apogee')];
    // Nothing flies to the right, and there is one row: neither a side nor a row keeps them apart.
    const { flags, clash } = hangFlags(both, { ...ROOM, rows: 1, rightEdge: 54 + 5.1 * 45 }, new Map());
    expect(flags.map((f) => f.words)).toEqual(['Cam B out: look', '']);
    expect(clash).toBe(true);
  });

  it('names what shares a flag without saying a word twice', () => {
    expect(together('Cam B', 'Cam C')).toBe('Cam B, C');
    expect(together('Cam B, C chute', 'Cam D chute')).toBe('Cam B, C, D chute');
    expect(together('drogue', 'nose')).toBe('drogue, nose');
  });
});

describe('a flag in trouble', () => {
  it('says act where its heads-up does, also for those that share it', () => {
    const crowd = [
      flag(9.6, 'Cam B out', { short: 'Cam B', look: true }),
      flag(9.7, 'Cam C out', { short: 'Cam C', look: true, act: true }),
    ];
    const { flags } = hangFlags(crowd, { ...ROOM, narrow: true }, new Map());
    expect(flags.map((f) => f.words)).toEqual(['Cam B, C: act']);
  });
});
