// The list of flights: newest first, grouped by local day.
import { clock, minutes } from '../lib/age';
import type { FlightInfo } from '../lib/messages';
import { length, type Units } from '../lib/units';

export interface FlightRow {
  number: number;
  time: string;
  name: string;
  apogee: string;
  duration: string;
  open: boolean;
}

export interface Day {
  day: string;
  rows: FlightRow[];
}

export function daysOf(flights: readonly FlightInfo[], units: Units): Day[] {
  const days: Day[] = [];
  for (const f of [...flights].sort((a, b) => b.opened_s - a.opened_s)) {
    const day = dayOf(f.liftoff_s ?? f.opened_s);
    const row: FlightRow = {
      number: f.number,
      time: clock(f.liftoff_s ?? f.opened_s, false),
      name: f.name || `${f.vehicle || 'Flight'} ${f.number}`,
      apogee:
        f.apogee_m === null ? (f.liftoff_s === null ? 'no liftoff' : 'not known') : length(f.apogee_m, units),
      duration: f.duration_s === null ? '–' : minutes(f.duration_s),
      open: f.ended_s === null,
    };
    const last = days.at(-1);
    if (last?.day === day) last.rows.push(row);
    else days.push({ day, rows: [row] });
  }
  return days;
}

/** "2026-11-25": ISO 8601, local date. */
export function dayOf(utcS: number): string {
  const date = new Date(utcS * 1000);
  const two = (n: number): string => String(n).padStart(2, '0');
  return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
}
