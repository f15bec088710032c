// What has passed, by body: filled from the station's track, grown by the messages that follow, gaps marked.
import type { Now, Q, Track } from './messages';

/** One point of what has passed. `band` is kept while a value is carried through silence. */
export interface Point {
  t_s: number;
  height_m: number | null;
  climb_mps: number | null;
  airspeed_mps: number | null;
  east_north_m: readonly [number, number] | null;
  carried: boolean;
  band: Q | null;
}

/** Two points further apart than this have something missing between them, s. */
export const GAP_S = 2.5;

/** More live points than this are thinned to every second one; the drawing thins further by pixel. */
const MOST = 12_000;

export class Past {
  readonly bodies = new Map<number, Point[]>();
  flight = 0;

  of(body: number): Point[] {
    let points = this.bodies.get(body);
    if (!points) {
      points = [];
      this.bodies.set(body, points);
    }
    return points;
  }

  clear(): void {
    this.bodies.clear();
  }

  /** Newest instant known, or `null`. */
  get newestS(): number | null {
    let newest: number | null = null;
    for (const points of this.bodies.values()) {
      const last = points.at(-1);
      if (last && (newest === null || last.t_s > newest)) newest = last.t_s;
    }
    return newest;
  }

  /** Takes a live message. Returns whether there is a gap before it that the track could fill. */
  append(now: Now): boolean {
    if (now.flight !== this.flight) {
      this.clear();
      this.flight = now.flight;
    }
    let gap = false;
    now.bodies.forEach((body, index) => {
      if (!body.height_m || body.attached) return;
      const points = this.of(index);
      const t_s = body.at_t_s ?? now.t_s;
      const last = points.at(-1);
      if (last && t_s <= last.t_s) return;
      if (last && t_s - last.t_s > GAP_S) gap = true;
      // Carried through silence. A figure that is behind while its radio is heard is the station catching up.
      const unheard = body.heard_t_s === null || now.t_s - body.heard_t_s > now.stale_after_s;
      const carried = body.carried_s > now.stale_after_s && unheard;
      points.push({
        t_s,
        height_m: body.height_m.p50,
        climb_mps: body.climb_mps?.p50 ?? null,
        airspeed_mps: body.airspeed_mps?.p50 ?? null,
        east_north_m: body.east_north_m,
        carried,
        band: carried ? body.height_m : null,
      });
      if (points.length > MOST) {
        const kept = points.filter((_, i) => i % 2 === 0 || i > MOST - 1000);
        points.splice(0, points.length, ...kept);
      }
    });
    return gap;
  }

  /** Puts a track in: it replaces what is known inside its own span, except values carried through silence. */
  fill(track: Track): void {
    for (const column of track.bodies) {
      const first = column.t_s[0];
      const last = column.t_s.at(-1);
      if (first === undefined || last === undefined) continue;
      const points = this.of(column.body);
      const before = points.filter((p) => p.t_s < first);
      const after = points.filter((p) => p.t_s > last);
      const carried = points.filter((p) => p.carried && p.t_s >= first && p.t_s <= last);
      const filled = column.t_s.map((t_s, i): Point => {
        const east = column.east_m[i];
        const north = column.north_m[i];
        return {
          t_s,
          height_m: column.height_m[i] ?? null,
          climb_mps: column.climb_mps[i] ?? null,
          airspeed_mps: column.airspeed_mps[i] ?? null,
          east_north_m: east == null || north == null ? null : [east, north],
          carried: false,
          band: null,
        };
      });
      const merged = carried.length
        ? [...filled.filter((p) => !carried.some((c) => Math.abs(c.t_s - p.t_s) < 0.06)), ...carried].sort(
            (a, b) => a.t_s - b.t_s,
          )
        : filled;
      this.bodies.set(column.body, [...before, ...merged, ...after]);
    }
  }
}
