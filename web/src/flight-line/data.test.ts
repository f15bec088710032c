import { describe, expect, it } from 'vitest';
import { body, cue, headsUp, now, q, story, T0 } from '../lib/fixtures';
import type { KnotNow, Now, Picture, Story } from '../lib/messages';
import type { Point } from '../lib/past';
import { speedFigures } from './axis-figures';
import { aheadOf, chartOf } from './data';
import { frameOf, freshMemory, type Sheet } from './frame';
import { thinned } from './paint/lines';

const knot = (t: number, h: number): KnotNow => ({
  t_s: T0 + t,
  height_m: q(h, 5),
  climb_mps: q(10),
  airspeed_mps: q(12),
  east_north_m: [0, 0],
  bare_height_m: Math.max(0, h - t * 6),
});
const picture = (change: Partial<Picture> = {}): Picture => ({
  t_s: T0 + 6.4,
  flight: 1,
  paths: [
    {
      body: 0,
      knots: [6.4, 9.6, 11, 30, 60].map((t) => knot(t, t < 10 ? 412 : Math.max(0, 412 - (t - 10) * 9))),
    },
  ],
  landings: [],
  cues: [
    cue(),
    cue({ cue: 1, name: 'drogue out', kind: 'chute', t_s: q(T0 + 11.1), limit: null, limit_of: null }),
    cue({
      cue: 2,
      name: 'Cam A chute',
      kind: 'chute',
      body: 1,
      t_s: q(T0 + 10),
      limit: null,
      limit_of: null,
    }),
  ],
  headsups: [],
  ...change,
});
const points: Point[] = [0, 2, 4, 6.3].map((t) => ({
  t_s: T0 + t,
  height_m: t * 57,
  climb_mps: 40,
  airspeed_mps: 50,
  east_north_m: null,
  carried: false,
  band: null,
}));
const chart = (
  change: Partial<Now> = {},
  of: Partial<Picture> = {},
  told: Story = story(),
  units: 'metric' | 'imperial' = 'metric',
) => chartOf({ now: now(change), picture: picture(of), story: told, points, units });

describe('the chart', () => {
  it('goes from the pad at liftoff to where the flight was first seen', () => {
    const stands = {
      height_m: 0,
      climb_mps: 0,
      airspeed_mps: 0,
      east_north_m: null,
      carried: false,
      band: null,
    };
    const late = [-0.5, 0.3, 0.6].map((t): Point => ({ t_s: T0 + t, ...stands }));
    const { past } = chartOf({
      now: now(),
      picture: picture(),
      story: story(),
      points: [...late, ...points.slice(1)],
      units: 'metric',
    });
    expect(past.map((p) => [Math.round(p.t * 10) / 10, p.height])).toEqual([
      [-0.5, 0],
      [0, 0],
      [2, 114],
      [4, 228],
      [6.3, expect.closeTo(359.1)],
    ]);
  });

  it('counts time from liftoff and turns units once', () => {
    const feet = chart({}, {}, story(), 'imperial');
    expect(feet.past[1]?.t).toBe(2);
    expect(feet.past[1]?.height).toBeCloseTo(114 / 0.3048, 6);
    expect(feet.apogee?.height.p50).toBeCloseTo(412 / 0.3048, 6);
  });

  it('hangs one flag for a cue that came late, where its event says so', () => {
    const late = cue({ name: 'split', kind: 'separation', passed: true, t_s: q(T0 + 9) });
    const event = { id: 9, body: 0, event: 'first_chute', label: 'split', t_s: T0 + 14, origin: 'detected' };
    const told = { ...story(), events: [...story().events, { ...story().events[0], ...event }] } as Story;
    const { flags } = chart({ t_s: T0 + 20 }, { cues: [late] }, told);
    expect(flags.filter((f) => f.label.includes('split')).map((f) => [f.t, f.happened])).toEqual([
      [14, true],
    ]);
    const none = chart({ t_s: T0 + 20 }, { cues: [late] }).flags;
    expect(none.some((f) => f.label.includes('split') && !f.happened)).toBe(true);
  });

  it('takes no prediction of another flight', () => {
    expect(chart({}, { flight: 2 }).future).toEqual([]);
  });

  it('hangs what happened filled, what is to come hollow, and shares flags within 0.3 s', () => {
    const { flags } = chart({}, { cues: [cue({ name: 'Cam B out', t_s: q(T0 + 9.7) })] });
    expect(flags.map((f) => [f.label, f.happened])).toEqual([
      ['liftoff', true],
      ['rail exit', true],
      ['burnout', true],
      ['apogee, Cam B', false],
      ['down ± 5 s', false],
    ]);
  });

  it('marks a cue in trouble by itself, with the word and both figures', () => {
    const { flags, marks } = chart({ headsups: [headsUp()] });
    expect(flags.find((f) => f.look)?.label).toBe('Cam A out');
    expect(marks[0]).toMatchObject({ over: true, words: '43 m/s, limit 25 m/s' });
    expect(chart().marks[0]?.over).toBe(false);
  });

  it('marks a cue whose heads-up did not fit into the message', () => {
    const { flags } = chart({ headsups: [], headsups_left_out: 1 }, { headsups: [headsUp()] });
    expect(flags.find((f) => f.look)?.label).toBe('Cam A out');
  });

  it('keeps another piece’s chute off the Body’s axis unless it is in trouble', () => {
    expect(chart().flags.some((f) => f.label === 'Cam A chute')).toBe(false);
    expect(chart({ headsups: [headsUp({ cue: 2 })] }).flags.some((f) => f.label === 'Cam A chute')).toBe(
      true,
    );
  });

  it('lets a cue’s own event take its flag', () => {
    const told = story([
      ['liftoff', 0],
      ['burnout', 2.4],
      ['first_chute', 11.4],
    ]);
    const passed = picture().cues.map((c) => ({ ...c, passed: true }));
    const { flags } = chart(
      { t_s: T0 + 20, bodies: [body({ phase: 'descending' })] },
      { cues: passed },
      told,
    );
    expect(flags.filter((f) => f.t > 11 && f.t < 12).map((f) => [f.label, f.happened])).toEqual([
      ['first chute', true],
    ]);
  });

  it('breaks the time axis at the Body’s own chute', () => {
    expect(chart().firstChute).toBeCloseTo(11.1, 4);
  });

  it('shows the sum by hand in coast only, where it means something', () => {
    expect(chart().hand?.height).toBe(416);
    expect(chart({ bodies: [body({ phase: 'powered' })] }).hand).toBeNull();
  });

  it('ends on the ground', () => {
    const told = story([
      ['liftoff', 0],
      ['burnout', 2.4],
      ['landing', 4.2],
    ]);
    const landed = chart({ t_s: T0 + 500, bodies: [body({ phase: 'down' })] }, {}, told);
    expect(landed.future).toEqual([]);
    expect(landed.past.at(-1)?.t).toBe(4);
    expect(aheadOf(landed, 500, false).now).toBeCloseTo(4.2, 4);
  });
});

describe('a frame', () => {
  const sheet: Sheet = {
    width: 858,
    height: 470,
    text: 16,
    narrow: false,
    strip: true,
    nowRel: 6.4,
    penHeight: 360,
    hatchFrom: null,
    hatchWords: '',
  };
  const measure = (words: string, _weight: number, size: number) => words.length * 8.2 * size;

  it('has everything on the paper and no word over another, for every size', () => {
    for (const change of [
      {},
      { width: 358, height: 395, narrow: true },
      { width: 1200, height: 760, text: 21 },
      { strip: false, height: 300 },
    ]) {
      const frame = frameOf(
        chart({ headsups: [headsUp()] }),
        { ...sheet, ...change },
        freshMemory(),
        measure,
      );
      expect(frame.words.map((w) => w.key)).toEqual(expect.arrayContaining(['pen', 'apogee']));
      frame.words.forEach((a, i) => {
        frame.words.slice(i + 1).forEach((b) => {
          const apart = a.x + a.w <= b.x || b.x + b.w <= a.x || a.y + a.h <= b.y || b.y + b.h <= a.y;
          expect(apart, `${a.key} over ${b.key}`).toBe(true);
        });
      });
      expect(frame.x(frame.scale.to)).toBeCloseTo(frame.geometry.width, 6);
      expect(frame.yHeight(frame.top)).toBeGreaterThan(frame.geometry.head);
    }
  });

  it('on a phone has no word of the speeds over the figures of their axis', () => {
    const phone = { ...sheet, width: 358, height: 395, narrow: true };
    for (let t = 6.5; t < 18; t += 0.5) {
      const over = cue({ t_s: q(T0 + t, 0.2), airspeed_mps: q(58, 2) });
      const frame = frameOf(chart({ cues: [over], headsups: [headsUp()] }), phone, freshMemory(), measure);
      const marks = frame.words.filter((w) => w.key.startsWith('mark'));
      expect(marks.length).toBe(1);
      for (const { words, y } of speedFigures(frame)) {
        const left = frame.geometry.width - measure(words, 400, 1);
        for (const m of marks) {
          const apart = m.x + m.w <= left || m.y + m.h <= y - frame.geometry.line || m.y >= y;
          expect(apart, `${m.lines[0] ?? ''} over ${words}`).toBe(true);
        }
      }
    }
  });

  it('does not move what is settled when a prediction moves a little', () => {
    const memory = freshMemory();
    const first = frameOf(chart(), sheet, memory, measure);
    const moved = body();
    if (moved.apogee) moved.apogee = { ...moved.apogee, height_m: q(415, 8), t_s: q(T0 + 9.65, 0.2) };
    const second = frameOf(chart({ bodies: [moved] }), sheet, memory, measure);
    expect(second.scale).toBe(first.scale);
    expect(second.top).toBe(first.top);
    expect(second.flags.map((f) => f.row)).toEqual(first.flags.map((f) => f.row));
  });
});

describe('thinning', () => {
  it('keeps extremes within a pixel', () => {
    const many = Array.from({ length: 1000 }, (_, i): [number, number] => [i / 100, i === 555 ? -9 : i % 7]);
    const few = thinned(many);
    expect(few.length).toBeLessThan(60);
    expect(Math.min(...few.map((p) => p[1]))).toBe(-9);
    expect(few[0]).toEqual(many[0]);
    expect(few.at(-1)).toEqual(many.at(-1));
  });
});
