// MapLibre GL and the archive's reader: loaded when a map is asked for, and not before.
import { addProtocol, Map as TileMap, setWorkerUrl } from 'maplibre-gl';
import worker from 'maplibre-gl/dist/maplibre-gl-worker.mjs?worker&url';
import { PMTiles, Protocol, TileType } from 'pmtiles';
import type { Archive, Colours } from './style';
import { styleOf } from './style';
import type { Look } from './view';

const ADDRESS = '/map.pmtiles';

let archive: Promise<{ about: Archive; url: string }> | null = null;

function open(): Promise<{ about: Archive; url: string }> {
  return (archive ??= read().catch((error: unknown) => {
    archive = null;
    throw error;
  }));
}

async function read(): Promise<{ about: Archive; url: string }> {
  setWorkerUrl(worker);
  const protocol = new Protocol();
  addProtocol('pmtiles', protocol.tile);
  const address = new URL(ADDRESS, location.href).href;
  const tiles = new PMTiles(address);
  protocol.add(tiles);
  const [header, metadata] = await Promise.all([tiles.getHeader(), tiles.getMetadata()]);
  const told = metadata as { vector_layers?: { id: string }[]; attribution?: string } | null;
  const about = {
    vector: header.tileType === TileType.Mvt,
    layers: told?.vector_layers?.map((layer) => layer.id) ?? [],
    minZoom: header.minZoom,
    maxZoom: header.maxZoom,
    attribution: told?.attribution ?? '',
  };
  return { about, url: `pmtiles://${address}` };
}

export interface Shown {
  /** By whom the tiles are, in words of the archive. */
  attribution: string;
  look(to: Look): void;
  colour(colours: Colours): void;
  remove(): void;
}

/** Shows the archive in an element. It is not to be moved by hand: the plan lies over it. */
export async function show(container: HTMLElement, look: Look, colours: Colours): Promise<Shown> {
  const { about, url } = await open();
  const map = new TileMap({
    container,
    style: styleOf(about, url, colours),
    center: [look.longitude_deg, look.latitude_deg],
    zoom: look.zoom,
    interactive: false,
    attributionControl: false,
    fadeDuration: 0,
    // Beyond the deepest tiles they are drawn larger.
    maxZoom: 24,
  });
  // Words of an archive are strange words: as text alone, never as markup.
  const attribution = about.attribution.replace(/<[^>]*>/g, '').slice(0, 120);
  return {
    attribution,
    look: (to) => map.jumpTo({ center: [to.longitude_deg, to.latitude_deg], zoom: to.zoom }),
    colour: (next) => map.setStyle(styleOf(about, url, next)),
    remove: () => map.remove(),
  };
}
