import { describe, expect, it } from 'vitest';
import { clock } from '../lib/age';
import type { EventBrief, FlightInfo, RadioFrame, Track } from '../lib/messages';
import { laidOf, rowsOf } from './compare';
import { jumpsOf } from './jumps';
import { daysOf, found, hiddenWords, weatherWords } from './list';
import { spanOf } from './span';

const flight = (number: number, at: number, change: Partial<FlightInfo> = {}): FlightInfo => ({
  number,
  name: '',
  label: `Tall Order ${number}`,
  vehicle: 'Tall Order',
  day: new Date(at * 1000).toISOString().slice(0, 10),
  site_name: 'North pad',
  opened_s: at - 60,
  liftoff_s: at,
  ended_s: at + 200,
  apogee_m: 412,
  duration_s: 94.4,
  notes: '',
  weather: { temperature_c: 24, pressure_hpa: 876, wind_mps: 4.5, wind_from_deg: 250 },
  events: [
    { event: 'liftoff', label: 'liftoff', body: 0, t_s: at },
    { event: 'apogee', label: 'apogee', body: 0, t_s: at + 9.6 },
  ],
  headsups: [{ level: 'look', words: 'Cam A goes out into 43 m/s of air.' }],
  line: [
    [0, 0],
    [9.6, 412],
    [94.4, 0],
  ],
  deleted: false,
  from_elsewhere: false,
  ...change,
});
const NOON = Date.UTC(2026, 10, 25, 12, 0, 0) / 1000;

describe('the list of flights', () => {
  it('is by local day, newest first', () => {
    const days = daysOf(
      [flight(1, NOON - 86_400), flight(2, NOON), flight(3, NOON + 3600, { label: 'Second light' })],
      'metric',
    );
    expect(days.map((d) => [d.day, d.sites.flatMap(({ rows }) => rows.map((r) => r.number))])).toEqual([
      ['2026-11-25', [3, 2]],
      ['2026-11-24', [1]],
    ]);
    expect(days[0]?.sites[0]?.rows[0]).toMatchObject({
      number: 3,
      time: clock(NOON + 3600, false),
      name: 'Second light',
      apogee: '412 m',
      duration: '1:34',
      open: false,
    });
  });

  it('says plainly what is not there', () => {
    const row = daysOf(
      [flight(1, NOON, { liftoff_s: null, apogee_m: null, duration_s: null, ended_s: null })],
      'metric',
    )[0]?.sites[0]?.rows[0];
    expect(row).toMatchObject({ name: 'Tall Order 1', apogee: 'no liftoff', duration: '–', open: true });
  });
});

describe('what is found and said of a flight', () => {
  const all = [
    flight(1, NOON, { notes: 'gusty, drogue late' }),
    flight(2, NOON, { headsups: [], label: 'Second light' }),
  ];
  it('every word must be found, wherever it stands', () => {
    const numbers = (words: string): number[] => found(all, words).map((f) => f.number);
    expect(numbers('')).toEqual([1, 2]);
    expect(numbers('GUSTY')).toEqual([1]);
    expect(numbers('north light')).toEqual([2]);
    expect(numbers('apogee 2026-11-25')).toEqual([1, 2]);
    expect(numbers('43 m/s')).toEqual([1]);
    expect(numbers('gusty light')).toEqual([]);
  });
  it('a range day is one date, whose flights stand by site', () => {
    const days = daysOf(
      [flight(1, NOON), flight(2, NOON + 60, { site_name: 'South pad' }), flight(3, NOON + 120)],
      'metric',
    );
    expect(days.map((d) => d.day)).toEqual(['2026-11-25']);
    expect(days[0]?.sites.map(({ site, rows }) => [site, rows.map((row) => row.number)])).toEqual([
      ['North pad', [3, 1]],
      ['South pad', [2]],
    ]);
  });
  it('a date has a bundle if any of its flights can be in it', () => {
    const gone = flight(1, NOON + 60, { deleted: true });
    const visitor = flight(3, NOON, { from_elsewhere: true });
    expect(daysOf([gone, flight(2, NOON, { site_name: 'South pad' })], 'metric')[0]?.bundled).toBe(true);
    expect(daysOf([gone, visitor], 'metric')[0]?.bundled).toBe(false);
  });
  it('the weather is said as far as it was told', () => {
    expect(weatherWords(flight(1, NOON), 'metric')).toBe('24 °C, 876 hPa, wind 5 m/s from 250°');
    const none = { temperature_c: null, pressure_hpa: null, wind_mps: null, wind_from_deg: null };
    expect(weatherWords(flight(1, NOON, { weather: none }), 'metric')).toBe('weather not told');
    expect(weatherWords(flight(1, NOON, { weather: { ...none, temperature_c: 20 } }), 'imperial')).toBe(
      '68 °F',
    );
  });
  it('two are laid over each other from their own liftoffs', () => {
    const [a, b] = [flight(1, NOON), flight(2, NOON + 7200)];
    const track = (at: number): Track => ({
      bodies: [
        {
          body: 0,
          t_s: [at - 1, at, at + 5, at + 6, at + 10, at + 500],
          height_m: [0, 0, 300, null, 412, 0],
          climb_mps: [0, 20, 80, null, 0, 0],
          airspeed_mps: [],
          east_m: [],
          north_m: [],
        },
      ],
    });
    const laid = [laidOf(a, track(NOON), 'metric'), laidOf(b, track(NOON + 7200), 'metric')];
    expect(laid[0]?.runs).toEqual([
      [
        [0, 0],
        [5, 300],
      ],
      [[10, 412]],
    ]);
    expect(laid[1]?.runs).toEqual(laid[0]?.runs);
    expect(rowsOf([a, b], laid, 'metric').map((r) => r.values[0])).toEqual([
      '412 m',
      '9.6 s',
      '80 m/s',
      '1:34',
    ]);
  });
});

it('jumps to the vehicle’s events and to releases, near ones shared', () => {
  const event = (word: string, t_s: number, body = 0): EventBrief => ({
    event: word,
    label: word.replace('_', ' '),
    body,
    t_s,
  });
  const told = [
    event('liftoff', 0),
    event('rail_exit', 0.4),
    event('freed', 7.6, 1),
    event('apogee', 9.6),
    event('landing', 70, 1),
    event('landing', 60),
  ];
  expect(jumpsOf(told).map((j) => j.words)).toEqual(['liftoff, rail exit', 'freed', 'apogee', 'landing']);
});

it('the controls reach from just before liftoff to just after the landing, as far as anything is stored', () => {
  const told = { liftoff_s: NOON, duration_s: 60, from_s: NOON - 3600, to_s: NOON + 4000 };
  const of = (change: object) => spanOf({ ...told, ...change } as Parameters<typeof spanOf>[0]);
  expect(of({})).toEqual({ from_s: NOON - 5, to_s: NOON + 65 });
  expect(of({ from_s: NOON - 2, to_s: NOON + 61 })).toEqual({ from_s: NOON - 2, to_s: NOON + 61 });
  expect(of({ liftoff_s: null })).toEqual({ from_s: NOON - 3600, to_s: NOON + 4000 });
});

it('frames of which no flight came are told, with what they need', () => {
  const frame = (wrong: string | null): RadioFrame => ({
    link: 'mast',
    t_s: 1,
    hex: '',
    length: 0,
    layout: null,
    wrong,
    fields: [],
    complaints: [],
  });
  expect(hiddenWords([])).toBeNull();
  expect(hiddenWords([frame('noise'), frame('noise')])).toMatch(/^The newest 2 frames are all wrong: Radio/);
  expect(hiddenWords([frame(null), frame('noise')])).toMatch(
    /^Of the newest 2 frames the setup of now reads 1, .* another setup held/,
  );
});
