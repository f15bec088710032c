// What of a flight can be handed out, and the address of it. Everything is made by the station; this only asks.
import type { FileState } from '../lib/messages';
import type { Units } from '../lib/units';

export interface Choice {
  /** File name at the station. */
  name: string;
  words: string;
}

export const TABLES: Choice[] = [
  { name: 'estimates', words: 'Estimates: the state of each piece, as shown live' },
  { name: 'smoothed', words: 'The same with hindsight' },
  { name: 'predictions', words: 'Predictions of apogee' },
  { name: 'cues', words: 'Predictions of cues' },
  { name: 'landings', words: 'Predicted landing areas' },
  { name: 'events', words: 'Events' },
  { name: 'headsups', words: 'Heads-ups' },
  { name: 'readings', words: 'Readings: every decoded packet' },
  { name: 'frames', words: 'Frames: every packet as bytes' },
  { name: 'remarks', words: 'What the crew wrote: notes, marks, acceptances' },
];

export const FORMS: Choice[] = [
  { name: 'csv', words: 'CSV' },
  { name: 'parquet', words: 'Parquet' },
  { name: 'jsonl', words: 'JSON Lines' },
];

export const TRACKS: Choice[] = [
  { name: 'track.kml', words: 'KML' },
  { name: 'track.gpx', words: 'GPX' },
  { name: 'track.geojson', words: 'GeoJSON' },
];

export const STORES: Choice[] = [
  { name: 'flights.sqlite', words: 'SQLite' },
  { name: 'recording.jsonl', words: 'Raw bytes, to compute again' },
  { name: 'setup.json', words: 'Setup' },
  { name: 'audits.json', words: 'Audits, JSON' },
];

/** Tables that can be had at a rate. */
export const AT_A_RATE = ['estimates', 'smoothed'];

/** Where the files of a flight, or of a day such as `2026-06-12`, are. */
export type Of = number | string;

export function address(of: Of, name: string, told: Record<string, string>): string {
  const base = typeof of === 'number' ? `/api/flights/${of}` : `/api/days/${of}`;
  const query = new URLSearchParams(Object.entries(told).filter(([, value]) => value.trim() !== ''));
  const text = query.toString();
  return `${base}/files/${name}${text ? `?${text}` : ''}`;
}

export function unitsOf(units: Units): Record<string, string> {
  return units === 'imperial' ? { units: 'imperial' } : {};
}

/** How far a file is, in words. */
export function making(name: string, state: FileState): string {
  if (state.ready) return `${name} is made: ${size(state.bytes ?? 0)}.`;
  if (state.total === 0)
    return `${name}: waits its turn; a flight is gone over with hindsight first where that is wanted.`;
  return `${name}: ${Math.min(99, Math.floor((100 * state.done) / state.total))} %`;
}

export function size(bytes: number): string {
  if (bytes < 1000) return `${bytes} bytes`;
  const units = ['kB', 'MB', 'GB'];
  let value = bytes / 1000;
  let unit = 0;
  while (value >= 999.5 && unit < units.length - 1) {
    value /= 1000;
    unit += 1;
  }
  return `${value < 10 ? value.toFixed(1) : value.toFixed(0)} ${units[unit]}`;
}
