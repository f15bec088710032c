// Map tiles that the crew brought, under the ground plan: asked for with one press, from the station alone.
import { deflateSync, inflateSync } from 'node:zlib';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from '@playwright/test';
import { Radio, Station, folder, problems, sizes, top, watchful } from '../harness.ts';
import config from '../playwright.config.ts';

// A map is drawn with WebGL, which needs no graphics chip in this browser.
const launch = config.use?.launchOptions;
test.use({
  launchOptions: {
    ...launch,
    args: [...(launch?.args ?? []), '--use-angle=swiftshader-webgl', '--enable-unsafe-swiftshader'],
  },
});

/** A chunk of a PNG file with its sum (ISO 3309's CRC-32). */
function chunk(name: string, data: Buffer): Buffer {
  const body = Buffer.concat([Buffer.from(name), data]);
  let crc = ~0;
  for (const byte of body) {
    crc ^= byte;
    for (let bit = 0; bit < 8; bit += 1) crc = (crc >>> 1) ^ (crc & 1 ? 0xedb88320 : 0);
  }
  const length = Buffer.alloc(4);
  length.writeUInt32BE(data.length);
  const sum = Buffer.alloc(4);
  sum.writeUInt32BE(~crc >>> 0);
  return Buffer.concat([length, body, sum]);
}

/** A picture of one colour. */
function png(size: number, colour: readonly number[]): Buffer {
  const head = Buffer.alloc(13);
  head.writeUInt32BE(size, 0);
  head.writeUInt32BE(size, 4);
  head.set([8, 2], 8);
  const line = Buffer.concat([Buffer.from([0]), ...Array.from({ length: size }, () => Buffer.from(colour))]);
  const lines = Buffer.concat(Array.from({ length: size }, () => line));
  const magic = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);
  return Buffer.concat([magic, chunk('IHDR', head), chunk('IDAT', deflateSync(lines)), chunk('IEND', Buffer.alloc(0))]);
}

/** An archive of one tile, which is the world, by the PMTiles specification, version 3: header, directory, metadata, tile. */
function archive(tile: Buffer): Buffer {
  const metadata = Buffer.from(JSON.stringify({ name: 'one tile', attribution: 'tiles by <b>nobody</b>' }));
  const varint = (n: number): number[] => (n < 128 ? [n] : [(n & 127) | 128, ...varint(n >> 7)]);
  // One entry: tile 0, once, its length, its place plus one.
  const directory = Buffer.from([1, 0, 1, ...varint(tile.length), 1]);
  const header = Buffer.alloc(127);
  header.write('PMTiles');
  header[7] = 3;
  const places = [127, directory.length, 127 + directory.length, metadata.length, 0, 0];
  const data = 127 + directory.length + metadata.length;
  [...places, data, tile.length, 1, 1, 1].forEach((n, i) => header.writeBigUInt64LE(BigInt(n), 8 + 8 * i));
  // Clustered; no compression of directories and tiles; PNG; zoom 0 alone.
  header.set([1, 1, 1, 2, 0, 0], 96);
  [-180, -85, 180, 85].forEach((degrees, i) => header.writeInt32LE(degrees * 1e7, 102 + 4 * i));
  return Buffer.concat([header, directory, metadata, tile]);
}

/** The colour of a picture's pixel: 8 bits, red, green and blue, without interlace, as the browser writes screenshots. */
function pixel(file: Buffer, x: number, y: number): number[] {
  const width = file.readUInt32BE(16);
  const depth = file[25] === 6 ? 4 : 3;
  const parts: Buffer[] = [];
  for (let at = 8; at < file.length; ) {
    const length = file.readUInt32BE(at);
    if (file.toString('latin1', at + 4, at + 8) === 'IDAT') parts.push(file.subarray(at + 8, at + 8 + length));
    at += 12 + length;
  }
  const raw = inflateSync(Buffer.concat(parts));
  const stride = width * depth;
  let before = Buffer.alloc(stride);
  for (let row = 0; row <= y; row += 1) {
    const filter = raw[row * (stride + 1)]!;
    const line = Buffer.from(raw.subarray(row * (stride + 1) + 1, (row + 1) * (stride + 1)));
    for (let i = 0; i < stride; i += 1) {
      const a = i >= depth ? line[i - depth]! : 0;
      const b = before[i]!;
      const c = i >= depth ? before[i - depth]! : 0;
      const p = a + b - c;
      const [pa, pb, pc] = [Math.abs(p - a), Math.abs(p - b), Math.abs(p - c)];
      const paeth = pa <= pb && pa <= pc ? a : pb <= pc ? b : c;
      line[i] = (line[i]! + [0, a, b, (a + b) >> 1, paeth][filter]!) & 255;
    }
    before = line;
  }
  return [...before.subarray(x * depth, x * depth + 3)];
}

const place = folder(true);
let radio: Radio;
let station: Station;

test.beforeAll(async () => {
  const setup = join(place.path, 'setup.toml');
  const map = join(place.path, 'range.pmtiles');
  writeFileSync(map, archive(png(256, [0, 128, 0])));
  radio = await Radio.start('tall-order', setup);
  station = await Station.start(setup, join(place.path, 'data'), '127.0.0.1:0', {}, ['--map', map]);
  radio.play(0);
});

test.afterAll(async () => {
  await station?.end();
  radio?.end();
  place.remove();
});

test('tiles lie under the plan once asked for, nothing is loaded before, and nobody else is asked', async ({ browser }) => {
  const page = await (await browser.newContext({ viewport: sizes.laptop, serviceWorkers: 'block' })).newPage();
  const complaints = watchful(page, station.address);
  const loaded: string[] = [];
  page.on('response', (response) => loaded.push(new URL(response.url()).pathname));
  await page.goto(station.address);
  const ground = page.locator('section[aria-label="Ground"]');
  const plan = ground.locator('.plan');
  await expect(ground.getByRole('img')).toBeVisible();
  // A picture of the page, as an element's own waits for frames that are alike.
  const colour = async (): Promise<number[]> => {
    const { x, y } = (await plan.boundingBox())!;
    return pixel(await page.screenshot({ clip: { x, y, width: 100, height: 60 } }), 40, 30);
  };
  const [red, green] = await colour();
  expect(Math.abs(red! - green!), 'paper').toBeLessThan(20);
  expect(loaded.some((path) => /MapUnder|maplibre|pmtiles/.test(path))).toBe(false);

  await ground.getByRole('button', { name: 'Map' }).click();
  // The tile is green; it is drawn pale, as what lies over it matters more.
  await expect.poll(async () => { const [r, g] = await colour(); return g! - r!; }, { timeout: 30_000 }).toBeGreaterThan(40);
  expect(loaded).toContain('/map.pmtiles');
  await expect(ground).toContainText('tiles by nobody');
  await expect(ground.getByRole('img').first()).toHaveAttribute('aria-label', /Plan of the ground/);
  await page.screenshot({ path: join(top, 'tests/out/pictures/map-laptop.png') });
  expect(await problems(page)).toEqual([]);

  await ground.getByRole('button', { name: 'Map' }).click();
  await expect.poll(async () => { const [r, g] = await colour(); return Math.abs(g! - r!); }).toBeLessThan(20);
  expect(complaints).toEqual([]);
  await page.context().close();
});

test('without an archive there is no such button', async ({ browser }) => {
  const setup = join(place.path, 'setup.toml');
  const other = await Station.start(setup, join(place.path, 'other'));
  const page = await (await browser.newContext({ viewport: sizes.phone })).newPage();
  await page.goto(other.address);
  await expect(page.getByRole('button', { name: 'Show me' })).toBeVisible();
  await expect(page.getByRole('button', { name: 'Map' })).toHaveCount(0);
  await page.context().close();
  await other.end();
});
