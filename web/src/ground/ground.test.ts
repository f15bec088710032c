import { describe, expect, it } from 'vitest';
import { body, now, q, SITE, T0 } from '../lib/fixtures';
import type { LandingArea, Picture } from '../lib/messages';
import { Past } from '../lib/past';
import { groundOf, mustShow, namesOn } from './data';
import { axesOf, HALF, NINE_TENTHS, reach } from './ellipse';
import { inGround } from './summary';
import { around, keepExtent, planOf, ringStep, xOf, yOf } from './view';

describe('ellipses', () => {
  it('hold the share that they promise', () => {
    // Chi-square with two degrees of freedom: medians 1.386 and 90 % 4.605 (any table), square roots below.
    expect(HALF).toBeCloseTo(1.17741, 5);
    expect(NINE_TENTHS).toBeCloseTo(2.14597, 5);
  });

  it('turn with their covariance', () => {
    // Axes 5 and 2, turned by 30 degrees: R diag(25, 4) R'.
    const c = Math.cos(Math.PI / 6);
    const s = Math.sin(Math.PI / 6);
    const axes = axesOf([25 * c * c + 4 * s * s, 21 * c * s, 25 * s * s + 4 * c * c]);
    expect(axes.major).toBeCloseTo(5, 9);
    expect(axes.minor).toBeCloseTo(2, 9);
    expect(axes.turnDeg).toBeCloseTo(30, 9);
    expect(reach(axes, Math.PI / 6)).toBeCloseTo(5, 9);
    expect(reach(axes, Math.PI / 6 + Math.PI / 2)).toBeCloseTo(2, 9);
  });
});

describe('the plan', () => {
  it('has north up and one scale for both directions', () => {
    const plan = planOf(keepExtent(null, around([[500, 300]])), 400, 300, 1);
    expect(xOf(plan, 100) - xOf(plan, 0)).toBeCloseTo(yOf(plan, 0) - yOf(plan, 100), 9);
    expect(yOf(plan, 100)).toBeLessThan(yOf(plan, 0));
    for (const [e, n] of [
      [0, 0],
      [500, 300],
    ] as const) {
      expect(xOf(plan, e)).toBeGreaterThan(0);
      expect(xOf(plan, e)).toBeLessThan(400);
      expect(yOf(plan, n)).toBeGreaterThan(0);
      expect(yOf(plan, n)).toBeLessThan(300);
    }
  });

  it('has round rings', () => {
    expect([20, 30, 90, 240, 260, 900].map(ringStep)).toEqual([25, 50, 100, 250, 500, 1000]);
  });

  it('does not breathe', () => {
    const first = keepExtent(null, around([[500, 300]]));
    expect(keepExtent(first, around([[510, 280]]))).toBe(first);
    expect(keepExtent(first, around([[900, 280]]))).not.toBe(first);
    expect(keepExtent(first, around([[60, 40]]))).not.toBe(first);
  });
});

describe('the track', () => {
  it('is drawn as known only where it was', () => {
    const past = new Past();
    const places: ([number, number] | null)[] = [[0, 0], [1, 1], null, null, [90, 70], [92, 72]];
    places.forEach((place, i) => {
      past.append(now({ t_s: T0 + i, bodies: [body({ east_north_m: place, at_t_s: T0 + i })] }));
    });
    const [trail] = groundOf(now({ t_s: T0 + 9 }), null, past).trails;
    expect(trail?.past).toEqual([
      [
        [0, 0],
        [1, 1],
      ],
      [
        [90, 70],
        [92, 72],
      ],
    ]);
    expect(trail?.unknown).toEqual([
      [
        [1, 1],
        [90, 70],
      ],
    ]);
  });
});

describe('the ground', () => {
  const area = (change: Partial<LandingArea>): LandingArea => ({
    body: 0,
    case: 'planned',
    t_s: q(T0 + 60),
    descent_mps: q(6),
    area: { ellipse: { centre_m: [450, 450], covariance_m2: [900, 100, 800] } },
    ...change,
  });
  const picture = (landings: LandingArea[]): Picture => ({
    t_s: T0,
    flight: 1,
    paths: [],
    landings,
    cues: [],
    headsups: [],
  });

  it('shows the planned area of each piece and, of the vehicle, where it comes down bare', () => {
    const cases = picture([
      area({}),
      area({ body: 1 }),
      area({ case: 'ballistic' }),
      area({ case: 'drogue_only' }),
      area({ body: 1, case: 'ballistic' }),
    ]);
    const { landings } = groundOf(now(), cases, new Past());
    expect(landings.map((l) => [l.name, l.bare])).toEqual([
      ['Body', false],
      ['Cam A', false],
      ['if nothing deploys', true],
    ]);
  });

  it('shows a ring, not a blob, while the heading is unknown', () => {
    const ring = area({ area: { ring: { centre_m: [10, 5], radius_m: q(300, 60) } } });
    const ground = groundOf(now(), picture([ring]), new Past());
    expect(ground.landings[0]).toMatchObject({ axes: null, ring: [240, 275.4, 324.6, 360] });
    expect(around(mustShow(ground, SITE, false)).east).toBeGreaterThanOrEqual(370);
  });

  it('says a ring where there is one, and a disc where its middle is as likely', () => {
    const said = (radius_m: typeof whole): string =>
      inGround(
        now(),
        groundOf(now(), picture([area({ area: { ring: { centre_m: [0, 0], radius_m } } })]), new Past()),
        'metric',
      );
    const whole = q(300, 60);
    expect(said(whole)).toContain('on a ring, 240 m to 360 m out');
    expect(said({ ...whole, p05: 0, p25: 0 })).toContain('somewhere within 360 m');
  });

  it('drops the areas of what lies', () => {
    const lying = now({ bodies: [body({ phase: 'down' })] });
    expect(groundOf(lying, picture([area({}), area({ case: 'ballistic' })]), new Past()).landings).toEqual(
      [],
    );
  });

  it('writes names that do not cover one another', () => {
    const ground = groundOf(
      now({ bodies: [body(), body({ name: 'Cam A' }), body({ name: 'Cam B' })] }),
      picture([area({}), area({ body: 1 }), area({ body: 2 })]),
      new Past(),
    );
    const plan = planOf(keepExtent(null, around(mustShow(ground, SITE, false))), 400, 330, 1);
    const names = namesOn(
      plan,
      ground,
      SITE,
      (r) => `${r} m`,
      (w) => w.length * 8,
      16,
      new Map(),
    );
    expect(names.map((n) => n.words)).toEqual(expect.arrayContaining(['pad', 'Body', 'Cam A', 'Cam B']));
    names.forEach((a, i) => {
      for (const b of names.slice(i + 1)) {
        const apart = a.x + a.w <= b.x || b.x + b.w <= a.x || a.y + a.h <= b.y || b.y + b.h <= a.y;
        expect(apart, `${a.words} over ${b.words}`).toBe(true);
      }
    });
  });

  describe('once the vehicle lies', () => {
    const at: [string, number, number][] = [
      ['Body', 430, 500],
      ['Cam A', 505, 470],
      ['Cam B', 540, 510],
      ['Cam C', 470, 525],
    ];
    const lying = at.map(([name, east, north]) =>
      body({ name, phase: 'down', east_north_m: [east, north], fix: null }),
    );
    const site = { ...SITE, bodies: at.map(([name]) => ({ name, parent: null })) };
    const drawn = (bodies: typeof lying, width: number) => {
      const lies = bodies.map((b) => b.phase === 'down');
      const ground = groundOf(now({ bodies }), picture([area({ body: 3 })]), new Past(), lies);
      const plan = planOf(keepExtent(null, around(mustShow(ground, site, true))), width, 330, 1);
      const measure = (w: string): number => w.length * 8;
      const names = namesOn(plan, ground, site, (r) => `${r} m`, measure, 16, new Map());
      return { plan, names };
    };
    const apart = (box: { x: number; y: number; w: number; h: number }, x: number, y: number): number =>
      Math.hypot(Math.max(box.x - x, 0, x - box.x - box.w), Math.max(box.y - y, 0, y - box.y - box.h));

    it.each([360, 490, 760])('a name is nearest to its own mark or tied to it, %i pixels wide', (width) => {
      const { plan, names } = drawn(lying, width);
      for (const [own, east, north] of at) {
        const name = names.find((n) => n.words === own);
        expect(name, own).toBeDefined();
        if (!name) continue;
        const reach = apart(name, xOf(plan, east), yOf(plan, north));
        if (name.leader) {
          const [, end] = name.leader;
          expect(Math.hypot(end[0] - xOf(plan, east), end[1] - yOf(plan, north))).toBeLessThan(9);
        } else {
          expect(reach, own).toBeLessThan(20);
          for (const [other, e, n] of at.filter(([other]) => other !== own))
            expect(apart(name, xOf(plan, e), yOf(plan, n)), `${own} by ${other}`).toBeGreaterThan(reach);
        }
        for (const [other, e, n] of at)
          expect(apart(name, xOf(plan, e), yOf(plan, n)), `${own} over ${other}`).toBeGreaterThan(5);
      }
    });

    it('the area of what is not known to be down leaves its name to the mark', () => {
      const bodies = lying.map((b, i) => (i === 3 ? { ...b, phase: 'descending' as const } : b));
      expect(
        drawn(bodies, 490)
          .names.filter((n) => n.words === 'Cam C')
          .map((n) => n.key),
      ).toEqual(['here 3']);
    });
  });
});
