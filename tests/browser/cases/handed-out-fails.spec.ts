// What is handed out when it cannot be: a disk that is full, and a connection that breaks in the middle of a file.
import { execFileSync, spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { chmodSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { connect, createServer, type AddressInfo, type Server, type Socket } from 'node:net';
import { join } from 'node:path';
import { expect, test, type Download, type Page } from '@playwright/test';
import { Station, folder, top } from '../harness.ts';

test.describe.configure({ mode: 'serial' });

const place = folder(true);
const data = join(place.path, 'data');
const demo = (file: string): string => join(top, 'demo-data/straight', file);

/** A program that runs the station with 400 kB for the files that it makes. It needs a name space for the mount. */
function cramped(): string {
  const path = join(place.path, 'cramped.sh');
  const mount = `mount -t tmpfs -o size=400k tmpfs '${join(data, 'handed-out')}'`;
  writeFileSync(path, `#!/bin/sh\nexec unshare --mount --map-root-user sh -c '${mount.replaceAll("'", '"')} && exec "$0" "$@"' "$LOFTWATCH" "$@"\n`);
  chmodSync(path, 0o755);
  return path;
}

/** Passes everything on to the station, and cuts each connection once so many bytes have come back; 0 cuts none. */
class Wire {
  cutAfter = 0;
  private constructor(
    private server: Server,
    readonly address: string,
  ) {}

  static async to(station: string): Promise<Wire> {
    const port = Number(new URL(station).port);
    let wire: Wire | undefined;
    const server = createServer((near: Socket) => {
      const far = connect(port, '127.0.0.1');
      let came = 0;
      near.pipe(far);
      far.on('data', (piece) => {
        came += piece.length;
        if (wire && wire.cutAfter > 0 && came > wire.cutAfter) near.destroy();
        else near.write(piece);
      });
      far.on('end', () => near.end());
      for (const one of [near, far]) one.on('error', () => undefined);
      near.on('close', () => far.destroy());
    });
    await new Promise<void>((done) => server.listen(0, '127.0.0.1', done));
    wire = new Wire(server, `http://127.0.0.1:${(server.address() as AddressInfo).port}`);
    return wire;
  }
  end(): void {
    this.server.close();
  }
}

const pressed = async (page: Page, button: string): Promise<Download> => {
  const [download] = await Promise.all([
    page.waitForEvent('download', { timeout: 60_000 }),
    page.getByRole('button', { name: button, exact: true }).click(),
  ]);
  return download;
};

test.beforeAll(() => {
  execFileSync('python3', [join(top, 'tests/faults/stored.py'), process.env.LOFTWATCH!, data, demo('setup.toml'), demo('flight.jsonl')]);
});

test.afterAll(() => {
  place.remove();
});

test('on a full disk the page says so, nothing is fetched, and what is smaller can still be had', async ({ browser }) => {
  mkdirSync(join(data, 'handed-out'), { recursive: true });
  const can = spawnSync('unshare', ['--mount', '--map-root-user', 'mount', '-t', 'tmpfs', 'tmpfs', join(data, 'handed-out')]);
  test.skip(can.status !== 0, 'this machine lets nobody make a mount name space');
  const station = await Station.start(demo('setup.toml'), data, '127.0.0.1:0', {}, [], cramped());
  try {
    const page = await (await browser.newContext({ viewport: { width: 390, height: 844 } })).newPage();
    let downloads = 0;
    page.on('download', () => (downloads += 1));
    await page.goto(`${station.address}/flights/1`);
    // The audits come above once the flight was gone over, and move what stands below.
    await expect(page.getByText(/^Apogee was \d+ m/)).toBeVisible({ timeout: 60_000 });
    await page.getByRole('button', { name: 'All of it, one zip' }).click();
    const alert = page.locator('section.downloads [role=alert]');
    await expect(alert).toContainText('no half file was left', { timeout: 60_000 });
    await expect(alert).toContainText('The disk is full: make room');
    await expect(alert).toBeInViewport();
    expect(downloads).toBe(0);
    // The room that the half file had taken is free again.
    const track = await pressed(page, 'GPX');
    expect(readFileSync(await track.path()).toString().trimEnd().endsWith('</gpx>')).toBe(true);
    await page.context().close();
  } finally {
    await station.end();
  }
});

test('a download that breaks leaves no file, and the next press brings it whole', async ({ browser, request }) => {
  const station = await Station.start(demo('setup.toml'), data);
  const wire = await Wire.to(station.address);
  try {
    const page = await (await browser.newContext()).newPage();
    await page.goto(`${wire.address}/flights/1`);
    // Made before, so that only the file itself meets the cut.
    const whole = await request.get(`${station.address}/api/flights/1/files/flights.sqlite`);
    wire.cutAfter = 200_000;
    const broken = await pressed(page, 'SQLite');
    expect(await broken.failure()).not.toBeNull();
    await expect(page.getByText(/^flights\.sqlite is made: .* if that breaks off, resume it among the downloads or press again\./)).toBeVisible();
    wire.cutAfter = 0;
    const again = await pressed(page, 'SQLite');
    const bytes = readFileSync(await again.path());
    expect(whole.headers()['etag']).toBe(`"${createHash('sha256').update(bytes).digest('hex')}"`);
    // What a browser asks for when it resumes.
    const rest = await request.get(`${station.address}/api/flights/1/files/flights.sqlite`, {
      headers: { range: 'bytes=200000-', 'if-range': whole.headers()['etag']! },
    });
    expect(rest.status()).toBe(206);
    expect(Buffer.concat([bytes.subarray(0, 200_000), await rest.body()]).equals(bytes)).toBe(true);
    await page.context().close();
  } finally {
    wire.end();
    await station.end();
  }
});
