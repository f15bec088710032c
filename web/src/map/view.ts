// Where a map must look so that it lies under the plan: middle and zoom of the same ground at the same scale. Pure.
import type { SiteInfo } from '../lib/messages';
import type { Plan } from '../ground/view';

/** Pixels around the equator at zoom 0: MapLibre's tiles have 512. */
const ROUND_PX = 512;
/** Equator of the sphere on which web maps are drawn (WGS84's semi-major axis, EPSG:3857), m. */
const ROUND_M = 2 * Math.PI * 6378137;

export interface Look {
  longitude_deg: number;
  latitude_deg: number;
  zoom: number;
}

/** The plan is flat and the map is not: over five kilometres they differ by less than a pixel in a thousand. */
export function lookOf(plan: Plan, site: SiteInfo): Look {
  const { west, east, south, north } = plan.extent;
  const radians = Math.PI / 180;
  // Radii of curvature of WGS84 at the pad, as in lib/place.ts.
  const e2 = 0.00669437999014;
  const latitude = site.latitude_deg * radians;
  const w2 = 1 - e2 * Math.sin(latitude) ** 2;
  const meridian = (6378137 * (1 - e2)) / w2 ** 1.5;
  const normal = 6378137 / Math.sqrt(w2);
  const middle = site.latitude_deg + (south + north) / 2 / meridian / radians;
  const longitude_deg = site.longitude_deg + (west + east) / 2 / (normal * Math.cos(latitude)) / radians;
  // East to west the ellipsoid's own circle counts, which is a little wider than the sphere's.
  const metresPerPixel0 = (ROUND_M / ROUND_PX) * Math.cos(middle * radians) * (normal / 6378137);
  return { longitude_deg, latitude_deg: middle, zoom: Math.log2(metresPerPixel0 * plan.scale) };
}
