// The list of flights: newest first, grouped by local day, found by words. Pure.
import { clock, minutes } from '../lib/age';
import type { FlightInfo, RadioFrame } from '../lib/messages';
import { decimal, length, speed, type Units } from '../lib/units';

export interface FlightRow {
  number: number;
  time: string;
  name: string;
  apogee: string;
  duration: string;
  open: boolean;
  info: FlightInfo;
}

export interface Day {
  day: string;
  /** Whether a bundle of it can be had: of flights of this station that are not deleted. */
  bundled: boolean;
  sites: { site: string; rows: FlightRow[] }[];
}

/** The range days, dates being those where the station stands, and the flights of each by site. */
export function daysOf(flights: readonly FlightInfo[], units: Units): Day[] {
  const days: Day[] = [];
  for (const f of [...flights].sort((a, b) => b.opened_s - a.opened_s)) {
    const { day } = f;
    const row: FlightRow = {
      number: f.number,
      time: clock(f.liftoff_s ?? f.opened_s, false),
      name: f.label,
      apogee:
        f.apogee_m === null ? (f.liftoff_s === null ? 'no liftoff' : 'not known') : length(f.apogee_m, units),
      duration: f.duration_s === null ? '–' : minutes(f.duration_s),
      open: f.ended_s === null,
      info: f,
    };
    let of = days.find((d) => d.day === day);
    if (!of) days.push((of = { day, bundled: false, sites: [] }));
    if (!f.deleted && !f.from_elsewhere) of.bundled = true;
    const known = of.sites.find(({ site }) => site === f.site_name);
    if (known) known.rows.push(row);
    else of.sites.push({ site: f.site_name, rows: [row] });
  }
  return days;
}

/** Those in which every word is found: in name, vehicle, site, day, notes, events or heads-ups. */
export function found(flights: readonly FlightInfo[], words: string): FlightInfo[] {
  const wanted = words.toLocaleLowerCase().split(/\s+/).filter(Boolean);
  return flights.filter((f) => {
    const text = [
      f.label,
      f.vehicle,
      f.site_name,
      f.day,
      f.notes,
      ...f.events.map((e) => e.label),
      ...f.headsups.map((h) => h.words),
    ]
      .join('\n')
      .toLocaleLowerCase();
    return wanted.every((word) => text.includes(word));
  });
}

/** "24 °C, 876 hPa, wind 4.5 m/s from 250°", as far as it was told. */
export function weatherWords({ weather }: FlightInfo, units: Units): string {
  const said: string[] = [];
  const { temperature_c: warm, pressure_hpa: pressure, wind_mps: wind, wind_from_deg: from } = weather;
  if (warm !== null) said.push(units === 'metric' ? `${decimal(warm)} °C` : `${decimal(warm * 1.8 + 32)} °F`);
  if (pressure !== null) said.push(`${decimal(pressure)} hPa`);
  if (wind !== null) said.push(`wind ${speed(wind, units)}${from === null ? '' : ` from ${decimal(from)}°`}`);
  return said.length ? said.join(', ') : 'weather not told';
}

/** What happened, each thing once, in order: "liftoff, burnout, apogee, main, landing". */
export function eventWords({ events }: FlightInfo): string {
  return [...new Set(events.map((e) => e.label))].join(', ');
}

/** Where there is no flight: frames that came all the same, of which one may be made with another setup. */
export function hiddenWords(frames: readonly RadioFrame[]): string | null {
  if (frames.length === 0) return null;
  const good = frames.filter((frame) => frame.wrong === null).length;
  if (good === 0) {
    return `The newest ${decimal(frames.length)} frames are all wrong: Radio says why, and a setup that reads them can be tried there.`;
  }
  return `Of the newest ${decimal(frames.length)} frames the setup of now reads ${decimal(good)}, but no flight came of them: another setup held when they came, or they are of a transmitter that it does not name.`;
}
