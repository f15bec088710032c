import { describe, expect, it } from 'vitest';
import { overlaps, placeLabels, type Label } from './labels';

const BOUNDS = { x: 0, y: 0, w: 400, h: 200 };
const label = (key: string, places: [number, number][], change: Partial<Label> = {}): Label => ({
  key,
  width: 80,
  height: 20,
  places: places.map(([x, y]) => ({ x, y })),
  ...change,
});

describe('words on the chart', () => {
  it('take the best liked place that is free of boxes, lines and each other', () => {
    const placed = placeLabels(
      [
        label('a', [
          [10, 10],
          [10, 60],
        ]),
        label('b', [
          [20, 15],
          [200, 60],
        ]),
      ],
      [],
      [[15, 20]],
      BOUNDS,
      new Map(),
    );
    expect(placed.map((p) => p.place)).toEqual([1, 0]);
    const two = placeLabels(
      [
        label('a', [[10, 10]]),
        label('b', [
          [20, 15],
          [200, 60],
        ]),
      ],
      [],
      [],
      BOUNDS,
      new Map(),
    );
    expect(two[0] && two[1] && overlaps(two[0], two[1])).toBe(false);
  });

  it('stay inside', () => {
    expect(
      placeLabels(
        [
          label('a', [
            [350, 10],
            [300, 10],
          ]),
        ],
        [],
        [],
        BOUNDS,
        new Map(),
      )[0]?.place,
    ).toBe(1);
  });

  it('keep their place while it is free, and go back to a better one only with room to spare', () => {
    const a = label('a', [
      [10, 10],
      [10, 60],
    ]);
    const near = [{ x: 91, y: 10, w: 50, h: 20 }];
    expect(placeLabels([a], near, [], BOUNDS, new Map([['a', 1]]))[0]?.place).toBe(1);
    expect(placeLabels([a], [], [], BOUNDS, new Map([['a', 1]]))[0]?.place).toBe(0);
  });

  it('are left out where they may be and no place is free', () => {
    const line: [number, number][] = [[50, 20]];
    expect(placeLabels([label('a', [[10, 10]], { optional: true })], [], line, BOUNDS, new Map())).toEqual(
      [],
    );
    expect(placeLabels([label('a', [[10, 10]])], [], line, BOUNDS, new Map()).length).toBe(1);
  });

  it('that yield stand over a line, and never over other words', () => {
    const line: [number, number][] = [[50, 20]];
    const yielding = label('a', [[10, 10]], { yields: true });
    expect(placeLabels([yielding], [], line, BOUNDS, new Map()).length).toBe(1);
    expect(
      placeLabels([label('b', [[40, 10]]), yielding], [], [], BOUNDS, new Map()).map((l) => l.key),
    ).toEqual(['b']);
  });
});
