import { describe, expect, it } from 'vitest';
import { body, now, q, SITE, story, T0 } from '../lib/fixtures';
import type { BodyNow, Phase } from '../lib/messages';
import { figures, inText, type Figure } from './figures';
import type { View } from './view';

const of = (change: Partial<BodyNow>, other: Partial<View> = {}): Figure[] => {
  const message = now({ bodies: [body(change)] });
  return figures({
    now: message,
    story: story(),
    site: SITE,
    units: 'metric',
    t_s: message.t_s,
    lost: false,
    ...other,
  }).flatMap((row) => row.figures);
};

describe('the figures', () => {
  it('are six in every phase, each with a unit or the word that it is not known', () => {
    const phases: Phase[] = ['waiting', 'joined', 'powered', 'coasting', 'descending', 'down'];
    for (const phase of phases) {
      for (const change of [
        {},
        {
          height_m: null,
          climb_mps: null,
          airspeed_mps: null,
          lean_rad: null,
          apogee: null,
          landing: null,
          fix: null,
          east_north_m: null,
        },
      ]) {
        const six = of({ phase, ...change });
        expect(six.length).toBe(6);
        for (const f of six)
          expect(f.unit !== '' || ['not known', 'none heard', 'not yet'].includes(f.interval)).toBe(true);
      }
    }
  });

  it('of the coast are now and at apogee', () => {
    const texts = of({}).map(inText);
    expect(texts).toEqual([
      'height, 360 m, ± 3',
      'climb, 33 m/s, ± 3',
      'off vertical, 52 °, ± 3',
      'height, 412 m, ± 9',
      'in, 3.2 s, ± 0.2',
      'airspeed, 10 m/s, ± 3',
    ]);
  });

  it('of the last two seconds before apogee have airspeed in place of the lean', () => {
    expect(of({}, { t_s: T0 + 6.4 + 1.3 }).map((f) => f.label)[2]).toBe('airspeed');
  });

  it('say that they are carried once older than the station calls fresh', () => {
    expect(of({ carried_s: 1 })[0]?.age).toBe('');
    expect(of({ carried_s: 4 })[0]?.age).toBe('carried 4 s');
    // A page that lost the station lets its figures age by itself.
    expect(of({}, { lost: true, t_s: T0 + 11.3 })[0]?.age).toBe('5 s old');
  });

  it('show a descent as a positive speed and a due moment as now', () => {
    const six = of({
      phase: 'descending',
      climb_mps: q(-14, 2),
      landing: { t_s: q(T0 + 5, 2), east_north_m: [100, 0], descent_mps: q(6) },
    });
    expect(six[1]).toMatchObject({ label: 'descent', value: '14', interval: '± 2' });
    expect(six[3]).toMatchObject({ value: '0', unit: 's' });
    expect(six[4]).toMatchObject({ label: 'east of pad', short: 'lands E', value: '100' });
  });

  it('of a flight planned on the pad count from a liftoff at the instant of the prediction, however old', () => {
    const { apogee } = body();
    const planned = apogee && { ...apogee, t_s: q(T0 + 6.2 + 11.9, 1.4), hand_t_s: T0 + 6.2 };
    const message = now({ liftoff_t_s: null, bodies: [body({ phase: 'waiting', apogee: planned })] });
    const at = (t_s: number) =>
      figures({ now: message, story: story([]), site: SITE, units: 'metric', t_s, lost: false })[1]
        ?.figures[1];
    for (const later of [0.2, 0.6, 34])
      expect(at(T0 + 6.2 + later)).toMatchObject({
        label: 'after liftoff',
        value: '11.9',
        interval: '± 1.4',
      });
  });

  it('do not age where a piece lies', () => {
    const six = of({ phase: 'down', carried_s: 300 });
    expect(six.map((f) => f.age)).toEqual(['', '', '', '', '', '']);
  });
});
