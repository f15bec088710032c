import { describe, expect, it } from 'vitest';
import { story } from '../lib/fixtures';
import type { FlightInfo } from '../lib/messages';
import { jumpsOf } from './jumps';
import { dayOf, daysOf } from './list';

const flight = (number: number, at: number, change: Partial<FlightInfo> = {}): FlightInfo => ({
  number,
  name: '',
  vehicle: 'Tall Order',
  opened_s: at - 60,
  liftoff_s: at,
  ended_s: at + 200,
  apogee_m: 412,
  duration_s: 94.4,
  ...change,
});
const NOON = new Date(2026, 10, 25, 12, 0, 0).getTime() / 1000;

describe('the list of flights', () => {
  it('is by local day, newest first', () => {
    const days = daysOf(
      [flight(1, NOON - 86_400), flight(2, NOON), flight(3, NOON + 3600, { name: 'Second light' })],
      'metric',
    );
    expect(days.map((d) => [d.day, d.rows.map((r) => r.number)])).toEqual([
      ['2026-11-25', [3, 2]],
      ['2026-11-24', [1]],
    ]);
    expect(days[0]?.rows[0]).toEqual({
      number: 3,
      time: '13:00',
      name: 'Second light',
      apogee: '412 m',
      duration: '1:34',
      open: false,
    });
    expect(dayOf(NOON)).toBe('2026-11-25');
  });

  it('says plainly what is not there', () => {
    const row = daysOf(
      [flight(1, NOON, { liftoff_s: null, apogee_m: null, duration_s: null, ended_s: null })],
      'metric',
    )[0]?.rows[0];
    expect(row).toMatchObject({ name: 'Tall Order 1', apogee: 'no liftoff', duration: '–', open: true });
  });
});

it('jumps to the vehicle’s events and to releases, near ones shared', () => {
  const told = story([
    ['liftoff', 0],
    ['rail_exit', 0.4],
    ['freed', 7.6, 1],
    ['apogee', 9.6],
    ['landing', 70, 1],
    ['landing', 60],
  ]);
  expect(jumpsOf(told.events).map((j) => j.words)).toEqual([
    'liftoff, rail exit',
    'freed',
    'apogee',
    'landing',
  ]);
});
