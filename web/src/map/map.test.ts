import { describe, expect, it } from 'vitest';
import { planOf } from '../ground/view';
import { SITE } from '../lib/fixtures';
import { styleOf } from './style';
import { lookOf } from './view';

const colours = { paper: '#fff', area: '#ddd', line: '#888' };

describe('the map under the plan', () => {
  it('shows the same ground at the same scale', () => {
    const plan = planOf({ west: -1000, east: 1000, south: -500, north: 1500 }, 400, 400, 1);
    const look = lookOf(plan, SITE);
    // The corners by the map's own projection (EPSG:3857): pixels from the middle.
    const size = 512 * 2 ** look.zoom;
    const x = (longitude: number) => ((longitude - look.longitude_deg) / 360) * size;
    const mercator = (latitude: number) => Math.asinh(Math.tan((latitude * Math.PI) / 180)) / (2 * Math.PI);
    const y = (latitude: number) => (mercator(look.latitude_deg) - mercator(latitude)) * size;
    // Degrees of the corners by WGS84's figures for 38.25 north: 111,002 m and 87,545 m a degree (any geodesic table).
    expect(x(SITE.longitude_deg - 1000 / 87_545)).toBeCloseTo(-200, 0);
    expect(x(SITE.longitude_deg + 1000 / 87_545)).toBeCloseTo(200, 0);
    expect(y(SITE.latitude_deg + 1500 / 111_002)).toBeCloseTo(-200, -0.5);
    expect(y(SITE.latitude_deg - 500 / 111_002)).toBeCloseTo(200, -0.5);
  });

  it('has a style for pictures and one for shapes, and asks for nothing beside the tiles', () => {
    const archive = { vector: false, layers: [], minZoom: 3, maxZoom: 14, attribution: 'somebody' };
    const raster = styleOf(archive, 'pmtiles:///map.pmtiles', colours);
    expect(raster.sources['tiles']).toMatchObject({
      type: 'raster',
      minzoom: 3,
      maxzoom: 14,
      attribution: 'somebody',
    });
    const vector = styleOf({ ...archive, vector: true, layers: ['roads', 'water'] }, 'x', colours);
    expect(vector.layers.map((l) => l.id)).toEqual([
      'paper',
      'roads areas',
      'roads lines',
      'water areas',
      'water lines',
    ]);
    for (const style of [raster, vector]) {
      expect(style.glyphs).toBeUndefined();
      expect(style.sprite).toBeUndefined();
    }
  });
});
