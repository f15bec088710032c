// Directions and places on the plain east-north grid about the pad.
import type { FixNow, SiteInfo } from './messages';

export type EastNorth = readonly [number, number];

const POINTS = ['north', 'north-east', 'east', 'south-east', 'south', 'south-west', 'west', 'north-west'];

export function distanceM(a: EastNorth, b: EastNorth = [0, 0]): number {
  return Math.hypot(a[0] - b[0], a[1] - b[1]);
}

/** True bearing from `from` to `to`, degrees, 0 is north, 90 is east. */
export function bearingDeg(to: EastNorth, from: EastNorth = [0, 0]): number {
  const degrees = (Math.atan2(to[0] - from[0], to[1] - from[1]) * 180) / Math.PI;
  return (degrees + 360) % 360;
}

/** "047°", of any angle: 313 degrees to the left are 47 to the right. */
export function bearing(degrees: number): string {
  return `${String(((Math.round(degrees) % 360) + 360) % 360).padStart(3, '0')}°`;
}

/** One of eight points of the compass rose, in words. */
export function direction(degrees: number): string {
  return POINTS[Math.round((degrees / 360) * 8) % 8] ?? '';
}

/** "NE": one of eight points, where there is little room. */
export function abbreviation(degrees: number): string {
  return direction(degrees)
    .split('-')
    .map((word) => word.charAt(0).toUpperCase())
    .join('');
}

const RADIANS = Math.PI / 180;

/** Metres a radian of latitude and of longitude at the pad: radii of curvature of the WGS84 ellipsoid. */
function metresAt(site: SiteInfo): { north: number; east: number } {
  const semiMajorM = 6378137;
  const e2 = 0.00669437999014;
  const latitude = site.latitude_deg * RADIANS;
  const w2 = 1 - e2 * Math.sin(latitude) ** 2;
  return {
    north: (semiMajorM * (1 - e2)) / w2 ** 1.5,
    east: (semiMajorM / Math.sqrt(w2)) * Math.cos(latitude),
  };
}

/**
 * East and north of the pad for a fix, m. Within 20 km of the pad this plane is good to a metre in a kilometre, enough to
 * point a person. The station's own figures are better.
 */
export function eastNorth(fix: Pick<FixNow, 'latitude_deg' | 'longitude_deg'>, site: SiteInfo): EastNorth {
  const metres = metresAt(site);
  let east = fix.longitude_deg - site.longitude_deg;
  if (east > 180) east -= 360;
  if (east < -180) east += 360;
  return [east * RADIANS * metres.east, (fix.latitude_deg - site.latitude_deg) * RADIANS * metres.north];
}

/** The other way round, on the same plane: for what is only predicted, as the station hands on no coordinates of that. */
export function onEarth(
  [east, north]: EastNorth,
  site: SiteInfo,
): Pick<FixNow, 'latitude_deg' | 'longitude_deg'> {
  const metres = metresAt(site);
  const longitude = site.longitude_deg + east / metres.east / RADIANS;
  return {
    latitude_deg: site.latitude_deg + north / metres.north / RADIANS,
    longitude_deg: ((longitude + 540) % 360) - 180,
  };
}

/** RFC 5870. Six decimals are a tenth of a metre. */
export function geoUri(fix: Pick<FixNow, 'latitude_deg' | 'longitude_deg'>): string {
  return `geo:${fix.latitude_deg.toFixed(6)},${fix.longitude_deg.toFixed(6)}`;
}

/** A geo: address as a person reads it: "38.250000, -117.350000". */
export function geoWords(uri: string): string {
  return uri.slice('geo:'.length).replace(',', ', ').replaceAll('-', '\u2212');
}
