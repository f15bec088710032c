import { describe, expect, it } from 'vitest';
import type { SiteInfo } from './messages';
import { abbreviation, bearing, bearingDeg, direction, distanceM, eastNorth, geoUri, onEarth } from './place';

const SITE: SiteInfo = {
  site: '',
  vehicle: '',
  latitude_deg: 38.25,
  longitude_deg: -117.35,
  elevation_m: 1210,
  areas: [],
  bodies: [],
  defaults: [],
  cues: [],
};

describe('places', () => {
  it('have a true bearing in three digits', () => {
    expect(bearing(bearingDeg([0, 100]))).toBe('000°');
    expect(bearing(bearingDeg([100, 0]))).toBe('090°');
    expect(bearing(bearingDeg([-100, -100]))).toBe('225°');
    expect(bearing(359.7)).toBe('000°');
    expect(bearing(-90)).toBe('270°');
    expect(bearing(-0.2)).toBe('000°');
  });

  it('have a direction in words', () => {
    expect(direction(44)).toBe('north-east');
    expect(direction(350)).toBe('north');
    expect(abbreviation(44)).toBe('NE');
  });

  it('lie on the ellipsoid where a geodesic says', () => {
    // Length of a degree at 38.25 N by the series of Snyder 1987 (Map Projections, p. 25): meridian 111,001 m, parallel
    // 87,545 m; a hundredth of each is checked to half a metre.
    const [east, north] = eastNorth({ latitude_deg: 38.26, longitude_deg: -117.34 }, SITE);
    expect(north).toBeGreaterThan(1109.5);
    expect(north).toBeLessThan(1110.5);
    expect(east).toBeGreaterThan(875);
    expect(east).toBeLessThan(876);
  });

  it('come back from the plane as they went', () => {
    for (const site of [SITE, { ...SITE, longitude_deg: 179.999 }]) {
      const fix = onEarth([640, -320], site);
      expect(Math.abs(fix.longitude_deg)).toBeLessThanOrEqual(180);
      const [east, north] = eastNorth(fix, site);
      expect(east).toBeCloseTo(640, 6);
      expect(north).toBeCloseTo(-320, 6);
    }
  });

  it('do not jump at the antimeridian', () => {
    const [east] = eastNorth(
      { latitude_deg: 38.25, longitude_deg: -179.999 },
      { ...SITE, longitude_deg: 179.999 },
    );
    expect(Math.abs(east)).toBeLessThan(200);
  });

  it('are written as RFC 5870 says', () => {
    expect(geoUri({ latitude_deg: 38.2542, longitude_deg: -117.344302 })).toBe('geo:38.254200,-117.344302');
    expect(distanceM([3, 4])).toBe(5);
  });
});
