import { describe, expect, it } from 'vitest';
import type { RadioFrame } from '../lib/messages';
import { apart, chosen, linksOf, pieces, reasons, verdict } from './frames';

const frame = (over: Partial<RadioFrame>): RadioFrame => ({
  link: 'mast',
  t_s: 1,
  hex: '0102030405',
  length: 5,
  layout: 'flight',
  wrong: null,
  fields: [],
  complaints: [],
  ...over,
});
const field = (name: string, from: number | null, to: number | null) => ({ name, value: '1', from, to });

describe('the bytes of a frame', () => {
  it('are cut where fields begin and end; bits share their bytes', () => {
    const shown = frame({
      fields: [field('b', 3, 4), field('low', 1, 3), field('high', 1, 3), field('keyed', null, null)],
    });
    expect(pieces(shown).map((p) => [p.bytes, p.fields.map((f) => f.name)])).toEqual([
      ['01', []],
      ['02 03', ['low', 'high']],
      ['04', ['b']],
      ['05', []],
    ]);
    expect(apart(shown).map((f) => f.name)).toEqual(['keyed']);
  });

  it('end where the station stopped showing them', () => {
    const shown = frame({ hex: '0102', length: 600, fields: [field('a', 0, 1), field('far', 500, 502)] });
    expect(pieces(shown).map((p) => p.bytes)).toEqual(['01', '02', '']);
  });
});

describe('wrong frames', () => {
  it('are counted by reason, whatever their figures', () => {
    const wrong = (words: string) => frame({ wrong: words, layout: null });
    const all = [
      frame({}),
      wrong('12 bytes between frames'),
      wrong('checksum 0A3F where the bytes give 29B1'),
      wrong('3 bytes between frames'),
    ];
    expect(reasons(all)).toEqual([
      { reason: 'bytes between frames', count: 2 },
      { reason: 'checksum … where the bytes give …', count: 1 },
    ]);
    expect(all.map(verdict)[1]).toBe('12 bytes between frames');
    expect(verdict(frame({ complaints: ['column 3: `x` is no number'] }))).toBe('flight, 1 not read');
  });
});

describe('the choice of frames', () => {
  const all = [
    frame({ length: 1 }),
    frame({ length: 2, link: 'cam', wrong: 'noise' }),
    frame({ length: 3, wrong: 'noise' }),
    frame({ length: 4, link: 'cam' }),
  ];
  const lengths = (onlyWrong: boolean, link: string) => chosen(all, onlyWrong, link).map((f) => f.length);

  it('is by link and by being wrong', () => {
    expect(linksOf(all)).toEqual(['cam', 'mast']);
    expect(lengths(false, '')).toEqual([1, 2, 3, 4]);
    expect(lengths(true, '')).toEqual([2, 3]);
    expect(lengths(false, 'cam')).toEqual([2, 4]);
    expect(lengths(true, 'mast')).toEqual([3]);
    expect(lengths(false, 'gone')).toEqual([1, 2, 3, 4]);
  });
});
