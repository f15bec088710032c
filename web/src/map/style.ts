// A map style for whatever archive a crew brings: pictures as they are, vector layers by their shapes alone. No glyphs and
// no sprites are asked for: names stand on the plan, which is drawn over it. Pure.
import type { LayerSpecification, StyleSpecification } from 'maplibre-gl';

export interface Colours {
  paper: string;
  area: string;
  line: string;
}

/** What an archive says of itself. */
export interface Archive {
  vector: boolean;
  layers: readonly string[];
  minZoom: number;
  maxZoom: number;
  attribution: string;
}

export function styleOf(archive: Archive, url: string, { paper, area, line }: Colours): StyleSpecification {
  const { minZoom: minzoom, maxZoom: maxzoom, attribution } = archive;
  const source = { url, minzoom, maxzoom, attribution };
  const background: LayerSpecification = {
    id: 'paper',
    type: 'background',
    paint: { 'background-color': paper },
  };
  if (!archive.vector) {
    return {
      version: 8,
      sources: { tiles: { type: 'raster', tileSize: 256, ...source } },
      // Paler than it is: what is drawn over it matters.
      layers: [
        background,
        {
          id: 'tiles',
          type: 'raster',
          source: 'tiles',
          paint: { 'raster-opacity': 0.6, 'raster-fade-duration': 0 },
        },
      ],
    };
  }
  const shapes = archive.layers.flatMap((name): LayerSpecification[] => [
    {
      id: `${name} areas`,
      type: 'fill',
      source: 'tiles',
      'source-layer': name,
      filter: ['==', ['geometry-type'], 'Polygon'],
      paint: { 'fill-color': area, 'fill-opacity': 0.35, 'fill-outline-color': line },
    },
    {
      id: `${name} lines`,
      type: 'line',
      source: 'tiles',
      'source-layer': name,
      filter: ['==', ['geometry-type'], 'LineString'],
      paint: { 'line-color': line, 'line-width': 1.2 },
    },
  ]);
  return { version: 8, sources: { tiles: { type: 'vector', ...source } }, layers: [background, ...shapes] };
}
