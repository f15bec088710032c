import { describe, expect, it } from 'vitest';
import { body, check } from '../lib/fixtures';
import type { AcceptedNow, Margin, RadioNow } from '../lib/messages';
import { counted, heardOf, rowsOf, shown, tied, together } from './rows';

function margin(change: Partial<Margin> = {}): Margin {
  return {
    key: 'margin:rail_exit',
    what: 'Speed where the upper guide leaves the rail',
    figure: 15.5,
    limit: 15,
    at_least: true,
    unit: 'm/s',
    figure_words: '',
    limit_words: '',
    limit_from: 'common practice, no source',
    judged: true,
    level: null,
    note: '',
    change: 'A longer rail.',
    ...change,
  };
}

const mo: AcceptedNow = {
  key: 'margin:rail_exit',
  what: '',
  figure: '12.0 m/s',
  limit: '',
  who: 'Mo',
  why: 'the wind is calm',
};

const radio = (receiver: string, heard_t_s: number): RadioNow => ({
  receiver,
  body: 'Body',
  heard_t_s,
  loss: null,
  rssi_dbm: null,
  snr_db: null,
  ticks: '',
  good: 0,
  wrong: 0,
  wrong_by: [],
});
const NONE = new Map<string, number>();

describe('rows', () => {
  it('puts trouble first, act before look, what was accepted behind what was not', () => {
    const rows = rowsOf(
      [margin(), margin({ key: 'b', level: 'look' }), margin({ level: 'look' })],
      [check(), check({ key: 'c', level: 'act', figure: 'silent', since_t_s: 60 })],
      [mo],
      NONE,
      300,
      'metric',
    );
    expect(rows.map((r) => [r.key, r.state, r.accepted !== null])).toEqual([
      ['c', 'act', false],
      ['b', 'look', false],
      ['margin:rail_exit', 'look', true],
      ['a', 'within', false],
      ['margin:rail_exit', 'within', false],
    ]);
    expect(rows[0]?.figure).toBe('silent 4 min');
    expect(rows[2]?.accepted).toBe('accepted by Mo because the wind is calm (then 12.0 m/s)');
    expect(rows[4]?.change).toBe('');
  });

  it('counts in words and never says ready, safe or go', () => {
    const rows = rowsOf(
      [margin({ level: 'look' })],
      [check(), check({ key: 'c', level: 'act' })],
      [],
      NONE,
      0,
      'metric',
    );
    expect(counted(rows)).toBe('One of three within limits. One to look at, one to act on.');
    expect(counted(rowsOf([margin()], [], [], NONE, 0, 'metric'))).toBe('One of one within limits.');
    expect(counted(rowsOf([margin({ level: 'look' })], [], [mo], NONE, 0, 'metric'))).toBe(
      'None of one within limits. One accepted.',
    );
    const many = Array.from({ length: 20 }, (_, i) => check({ key: String(i) }));
    expect(counted(rowsOf([], many, [], NONE, 0, 'metric'))).toBe('20 of 20 within limits.');
    expect(counted([])).toBe('Nothing to judge yet.');
  });

  it('keeps a number on a line with its unit', () => {
    expect(tied('at most 1.0 %')).toBe('at most 1.0\u00a0%');
    expect(tied('at least 5.0 : 1')).toBe('at least 5.0\u00a0:\u00a01');
    expect(tied('crowd line 120 m, cars 310 m')).toBe('crowd line 120\u00a0m, cars 310\u00a0m');
  });

  it('does not count what has no limit', () => {
    const rows = rowsOf([margin({ judged: false, limit: null })], [check()], [], NONE, 0, 'metric');
    expect(counted(rows)).toBe('One of one within limits.');
  });

  it('puts what is within limits together by kind and limit, each with its figure', () => {
    const rows = rowsOf(
      [],
      [
        check({ key: 'fix:Body', figure: '2 m' }),
        check({ key: 'fix:Cam A', figure: '9 m' }),
        check({ key: 'heard:Body', figure: 'heard' }),
        check({ key: 'heard:Cam A', figure: 'heard' }),
        check({ key: 'fix:Cam B', figure: '4 m', limit: 'another' }),
      ],
      [],
      NONE,
      0,
      'metric',
    );
    expect(together(rows).map((r) => `${r.what}: ${r.figure}`)).toEqual([
      'Fixes, 2: Body 2 m, Cam A 9 m',
      'Radios, 2: all heard',
      'Body battery: 4 m',
    ]);
  });

  it('says how long ago each was heard, and keeps what is to be known of all', () => {
    const heard = heardOf(
      [
        body({ name: 'Body', heard_t_s: 99.6 }),
        body({ name: 'Cam A', heard_t_s: 96 }),
        body({ heard_t_s: null }),
      ],
      [radio('Mast', 97), radio('Mast', 99)],
    );
    const rows = rowsOf(
      [
        margin({ key: 'margin:distance:line', note: 'column for one motor' }),
        margin({ key: 'margin:distance:cars', note: 'column for one motor', figure: 20 }),
      ],
      [
        check({ key: 'heard:Body', figure: 'heard' }),
        check({ key: 'heard:Cam A', figure: 'heard' }),
        check({ key: 'receiver:Mast', figure: 'hears' }),
        check({ key: 'restart:Body', figure: 'none heard' }),
        check({ key: 'restart:Cam A', figure: 'none heard' }),
      ],
      [],
      heard,
      100,
      'metric',
    );
    expect(together(rows).map((r) => `${r.figure} | ${r.note}`)).toEqual([
      'all heard, last 0 to 4 s ago | Body, Cam A',
      'hears, last 1 s ago | ',
      'none heard | Body, Cam A',
      'line 15.5 m/s, cars 20.0 m/s | column for one motor',
    ]);
    // What is silent says since when by itself.
    const silent = check({ key: 'heard:Body', figure: 'silent', level: 'act', since_t_s: 40 });
    expect(rowsOf([], [silent], [], heard, 100, 'metric')[0]).toMatchObject({
      figure: 'silent 60 s',
      ago_s: null,
    });
  });

  it('says figures in the units chosen', () => {
    expect(shown(15.5, 'm/s', 'metric')).toBe('15.5 m/s');
    expect(shown(15.5, 'm/s', 'imperial')).toBe('50.9 ft/s');
    expect(shown(0.0524, 'rad', 'metric')).toBe('3°');
    expect(shown(0.063, 'share', 'metric')).toBe('6.3 %');
    expect(shown(100, 'J', 'imperial')).toBe('74 ft lbf');
    expect(shown(4.51, 'ratio', 'metric')).toBe('4.5 : 1');
  });
});
