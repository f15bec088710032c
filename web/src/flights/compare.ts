// Two flights laid over each other: both from liftoff, on one scale. Pure.
import type { FlightInfo, Track } from '../lib/messages';
import { minutes } from '../lib/age';
import { decimal, length, lengthScale, speed, type Units } from '../lib/units';

export interface Laid {
  name: string;
  /** s since liftoff and height in the units shown, in runs without gaps. */
  runs: [number, number][][];
  /** Greatest climb, m/s. */
  fastest_mps: number | null;
  apogee_s: number | null;
}

/** The vehicle of a flight, as it is laid. */
export function laidOf(info: FlightInfo, track: Track, units: Units): Laid {
  const t0 = info.liftoff_s ?? info.opened_s;
  const end = info.duration_s ?? Infinity;
  const { factor } = lengthScale(units);
  const column = track.bodies.find((b) => b.body === 0);
  const runs: [number, number][][] = [];
  let run: [number, number][] = [];
  let fastest: number | null = null;
  column?.t_s.forEach((t_s, i) => {
    const t = t_s - t0;
    const h = column.height_m[i];
    if (h == null || t < 0 || t > end) {
      if (run.length) runs.push(run);
      run = [];
      return;
    }
    run.push([t, h * factor]);
    const climb = column.climb_mps[i];
    if (climb != null) fastest = Math.max(fastest ?? 0, climb);
  });
  if (run.length) runs.push(run);
  const apogee = info.events.find((e) => e.event === 'apogee' && e.body === 0);
  return { name: info.label, runs, fastest_mps: fastest, apogee_s: apogee ? apogee.t_s - t0 : null };
}

/** The figures of both, side by side. */
export function rowsOf(
  flights: readonly FlightInfo[],
  laid: readonly Laid[],
  units: Units,
): { label: string; values: string[] }[] {
  const each = (of: (info: FlightInfo, laid: Laid | undefined) => string): string[] =>
    flights.map((info, i) => of(info, laid[i]));
  return [
    { label: 'Apogee', values: each((f) => (f.apogee_m === null ? 'not known' : length(f.apogee_m, units))) },
    {
      label: 'Apogee after',
      values: each((_, l) => (l?.apogee_s == null ? 'not known' : `${decimal(l.apogee_s, 1)} s`)),
    },
    {
      label: 'Greatest climb',
      values: each((_, l) => (l?.fastest_mps == null ? 'not known' : speed(l.fastest_mps, units))),
    },
    { label: 'In the air', values: each((f) => (f.duration_s === null ? '–' : minutes(f.duration_s))) },
  ];
}
