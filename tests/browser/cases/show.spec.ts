// A stored flight shown again: three browsers follow what one drives; the list of flights, footage, overlay, flight files.
// The store is made out of recordings in seconds, so nothing here waits for a flight.
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test, type Browser, type Page } from '@playwright/test';
import { Station, folder, problems, sizes, top, watchful } from '../harness.ts';

test.describe.configure({ mode: 'serial' });

const place = folder(true);
const data = join(place.path, 'data');
const demo = (name: string, file: string): string => join(top, 'demo-data', name, file);
const pictures = join(top, 'tests/out/pictures');
const complaints: string[] = [];
let station: Station;

async function open(browser: Browser, size: keyof typeof sizes, path: string, theme = 'sun'): Promise<Page> {
  const context = await browser.newContext({ viewport: sizes[size] });
  await context.addInitScript((chosen) => localStorage.setItem('loftwatch.theme', chosen), theme);
  const page = await context.newPage();
  const own = watchful(page, station.address);
  page.on('close', () => complaints.push(...own.map((text) => `${path}: ${text}`)));
  await page.goto(station.address + path);
  return page;
}

const sentence = (page: Page) => page.getByRole('heading', { level: 1 });

test.beforeAll(async () => {
  test.setTimeout(240_000);
  mkdirSync(pictures, { recursive: true });
  const program = process.env.LOFTWATCH!;
  const flights = ['tall-order', 'straight'].flatMap((name) => [demo(name, 'setup.toml'), demo(name, 'flight.jsonl')]);
  execFileSync('python3', [join(top, 'tests/faults/stored.py'), program, data, ...flights]);
  station = await Station.start(demo('tall-order', 'setup.toml'), data);
});

test.afterAll(async () => {
  await station?.end();
  place.remove();
});

/** Where the pen of each page would stand at one and the same instant, s since liftoff, from where it was last drawn. */
async function instants(pages: Page[], speed: number): Promise<number[]> {
  const drawn = await Promise.all(
    pages.map((page) =>
      page.evaluate(() => {
        const { pen, at } = document.querySelector<HTMLCanvasElement>('section[aria-label="Flight line"] canvas')!.dataset;
        return [Number(pen?.split(' ')[0]), Number(at)] as const;
      }),
    ),
  );
  const last = Math.max(...drawn.map(([, at]) => at));
  return drawn.map(([t, at]) => t + ((last - at) / 1000) * speed);
}

test('three browsers follow a driven show through seeks and speeds, and look the same', async ({ browser, request }) => {
  const driver = await open(browser, 'laptop', '/flights/1');
  await driver.getByRole('button', { name: 'Show to all' }).click();
  await driver.getByRole('button', { name: 'Drive' }).click();
  await expect(driver.getByText('you drive')).toBeVisible();
  const three = [
    await open(browser, 'projector', '/show', 'night'),
    await open(browser, 'laptop', '/show'),
    await open(browser, 'phone', '/show'),
  ];
  for (const page of three) {
    await expect(page.getByText('not live')).toBeVisible();
    await expect(page.getByRole('button', { name: 'Pause' })).toHaveCount(0);
  }
  const jump = (name: string) => driver.locator('.jumps').getByRole('button', { name, exact: false }).first().click();
  for (const [to, rate] of [
    ['burnout', '1×'],
    ['apogee', '0.25×'],
    ['drogue', '5×'],
    ['liftoff', '2×'],
  ] as const) {
    await jump(to);
    await driver.getByRole('button', { name: rate, exact: true }).click();
    const play = driver.getByRole('button', { name: 'Play', exact: true });
    if (await play.isVisible()) await play.click();
    await driver.waitForTimeout(700);
    const speed = Number(rate.replace('×', ''));
    // A browser of the tests draws a frame now and then only, and may still show what was before the jump; what is held here is
    // that all come to the same flight, place and rate. How closely they are in step is measured, not tested.
    let apart = Infinity;
    const comeTogether = async (): Promise<number> => {
      const at = await instants(three, speed);
      apart = (Math.max(...at) - Math.min(...at)) / speed;
      return apart;
    };
    await expect.poll(comeTogether, { message: `after ${to} at ${rate}` }).toBeLessThan(1.5);
    console.log(`in step after ${to} at ${rate}: ${(apart * 1000).toFixed(0)} ms apart`);
  }
  // Who joins late is where the others are.
  const late = await open(browser, 'laptop', '/show');
  await expect(sentence(late)).not.toContainText('Waiting');
  await driver.getByRole('button', { name: 'Pause', exact: true }).click();
  await jump('apogee');
  for (let i = 0; i < 3; i += 1) await driver.getByRole('button', { name: 'to the next reading' }).click();
  const all = [...three, late];
  await driver.waitForTimeout(1200);
  const told = await Promise.all(all.map((page) => sentence(page).textContent()));
  expect(new Set(told).size, told.join(' | ')).toBe(1);
  const pens = await Promise.all(
    all.map((page) => page.locator('section[aria-label="Flight line"] canvas').getAttribute('data-t')),
  );
  expect(new Set(pens).size, pens.join(', ')).toBe(1);
  for (const [i, page] of three.entries())
    await page.screenshot({ path: join(pictures, `show-${['projector', 'laptop', 'phone'][i]}.png`) });
  await driver.screenshot({ path: join(pictures, 'show-driver.png') });
  for (const page of [...all, driver]) expect(await problems(page)).toEqual([]);
  for (const page of all) {
    const spare = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    expect(spare).toBeLessThanOrEqual(0);
  }
  // What is live was never touched by it.
  expect((await (await request.get(`${station.address}/api/now`)).json()).mode).toBe('live');
  await driver.getByRole('button', { name: 'End the show' }).click();
  for (const page of all) await expect(sentence(page)).toContainText('No show at the moment');
  for (const page of [...all, driver]) await page.context().close();
});

test('a replay goes from reading to reading, and lays the path with hindsight beside', async ({ browser }) => {
  const page = await open(browser, 'laptop', '/flights/1');
  await expect(page.getByText('not live')).toBeVisible();
  await page.getByRole('button', { name: 'Pause', exact: true }).click();
  await page.locator('.jumps').getByRole('button', { name: 'apogee' }).first().click();
  const canvas = page.locator('section[aria-label="Flight line"] canvas');
  const at = async () => Number(await canvas.getAttribute('data-t'));
  await page.waitForTimeout(400);
  const before = await at();
  await page.getByRole('button', { name: 'to the next reading' }).click();
  await expect.poll(at).toBeGreaterThan(before);
  await page.getByRole('button', { name: 'to the reading before' }).click();
  await page.getByRole('button', { name: 'With hindsight' }).click();
  await expect(page.getByText('The dotted line is the path with hindsight')).toBeVisible({ timeout: 60_000 });
  await page.waitForTimeout(500);
  await page.screenshot({ path: join(pictures, 'replay-hindsight-laptop.png') });
  expect(await problems(page)).toEqual([]);
  await page.context().close();
});

test('the list is found by words, noted, laid over each other, deleted by name and had back', async ({ browser }) => {
  const page = await open(browser, 'laptop', '/flights');
  const entry = (name: string) => page.locator('li', { has: page.getByRole('link', { name }) });
  await expect(page.getByRole('link', { name: 'Plain Kite 2' })).toBeVisible();
  await page.getByPlaceholder('Search').fill('cam a out');
  await expect(page.getByRole('link', { name: 'Plain Kite 2' })).toHaveCount(0);
  await expect(page.getByRole('link', { name: 'Tall Order 1' })).toBeVisible();
  await page.getByPlaceholder('Search').fill('');
  await entry('Plain Kite 2').getByRole('button', { name: 'Edit' }).click();
  await page.getByLabel('Name').fill('Kite by hand');
  await page.getByLabel('Notes').fill('gusty\nlanded in the ditch');
  await page.getByRole('button', { name: 'Save' }).click();
  await expect(page.getByRole('link', { name: 'Kite by hand' })).toBeVisible();
  await expect(page.getByText('landed in the ditch')).toBeVisible();
  for (const name of ['Kite by hand', 'Tall Order 1']) await entry(name).getByLabel('Lay over').check();
  await expect(page.getByRole('img', { name: /since liftoff of Kite by hand and Tall Order 1/ })).toBeVisible();
  await expect(page.getByRole('row', { name: /Greatest climb/ })).toContainText('m/s');
  expect(await problems(page)).toEqual([]);
  await page.screenshot({ path: join(pictures, 'flights-laptop.png'), fullPage: true });

  await entry('Kite by hand').getByRole('button', { name: 'Edit' }).click();
  const remove = page.getByRole('button', { name: 'Delete this flight' });
  await expect(remove).toBeDisabled();
  await page.getByLabel('Type “Kite by hand”').fill('Kite by hand');
  await remove.click();
  await expect(page.getByText('It can be had back until the station is next started')).toBeVisible();
  await page.getByRole('button', { name: 'Undo the deletion' }).click();
  await expect(page.getByText('It can be had back')).toHaveCount(0);
  await page.context().close();
  for (const size of ['phone', 'projector'] as const) {
    const other = await open(browser, size, '/flights');
    await expect(other.getByRole('link', { name: 'Kite by hand' })).toBeVisible();
    await other.screenshot({ path: join(pictures, `flights-${size}.png`) });
    const spare = await other.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    expect(spare).toBeLessThanOrEqual(0);
    expect(await problems(other)).toEqual([]);
    await other.context().close();
  }
});

/** A film made by the browser itself: nine seconds, grey until the motor is heard at 4.0 s. */
function film(page: Page): Promise<number[]> {
  return page.evaluate(async () => {
    const canvas = document.createElement('canvas');
    [canvas.width, canvas.height] = [320, 180];
    const ctx = canvas.getContext('2d')!;
    const audio = new AudioContext();
    const out = audio.createMediaStreamDestination();
    const noise = audio.createBuffer(1, audio.sampleRate * 9, audio.sampleRate);
    const samples = noise.getChannelData(0);
    for (let i = 0; i < samples.length; i += 1) {
      const t = i / audio.sampleRate;
      samples[i] = (Math.random() * 2 - 1) * (t > 4 && t < 7 ? 0.6 : 0.004);
    }
    const source = audio.createBufferSource();
    source.buffer = noise;
    source.connect(out);
    const stream = new MediaStream([...canvas.captureStream(30).getTracks(), ...out.stream.getTracks()]);
    const recorder = new MediaRecorder(stream, { mimeType: 'video/webm;codecs=vp8,opus' });
    const pieces: Blob[] = [];
    recorder.ondataavailable = (event) => pieces.push(event.data);
    const done = new Promise((ended) => (recorder.onstop = ended));
    recorder.start();
    source.start();
    const begun = performance.now();
    while (performance.now() - begun < 9000) {
      const t = (performance.now() - begun) / 1000;
      ctx.fillStyle = t > 4 ? '#c60' : '#777';
      ctx.fillRect(0, 0, 320, 180);
      ctx.fillStyle = '#fff';
      ctx.font = '60px sans-serif';
      ctx.fillText(t.toFixed(2), 80, 110);
      await new Promise((next) => setTimeout(next, 33));
    }
    recorder.stop();
    await done;
    return [...new Uint8Array(await new Blob(pieces).arrayBuffer())];
  });
}

test('footage is aligned by its sound, kept with the flight, and plays in step', async ({ browser }) => {
  const page = await open(browser, 'laptop', '/flights/1');
  const path = join(place.path, 'tripod.webm');
  writeFileSync(path, Buffer.from(await film(page)));
  await page.getByRole('button', { name: 'Footage' }).click();
  await page.getByLabel('Add a camera').setInputFiles(path);
  await page.getByLabel('Camera to pad, m').fill('150');
  await page.getByLabel('Air, °C').fill('20');
  await page.getByRole('button', { name: 'Find liftoff' }).click();
  const heard = page.getByText(/The motor is heard at ([\d.]+) s/);
  await expect(heard).toBeVisible({ timeout: 30_000 });
  const words = (await heard.textContent())!;
  // The recorder begins some hundredths of a second before or after the sound.
  expect(Math.abs(Number(/heard at ([\d.]+) s/.exec(words)![1]) - 4)).toBeLessThan(0.4);
  expect(words).toContain('Sound takes 0.44 s over 150 m');
  await page.getByRole('button', { name: 'Take it' }).click();
  await expect(page.getByText('The alignment is 0 ms')).toBeVisible();
  await page.getByRole('button', { name: '+1 frames' }).click();
  await page.screenshot({ path: join(pictures, 'footage-align-laptop.png'), fullPage: true });
  expect(await problems(page)).toEqual([]);
  await page.getByRole('button', { name: 'Keep the alignment' }).click();
  await expect(page.getByText('The alignment is kept with the flight')).toBeVisible();
  await page.getByRole('button', { name: 'Done' }).click();
  await page.locator('.jumps').getByRole('button', { name: 'liftoff' }).click();
  const play = page.getByRole('button', { name: 'Play', exact: true });
  if (await play.isVisible()) await play.click();
  await page.waitForTimeout(2500);
  const video = page.locator('figure video');
  await expect.poll(async () => Math.abs(Number(await video.getAttribute('data-off')))).toBeLessThan(0.4);
  await page.getByRole('button', { name: 'Pause', exact: true }).click();
  await expect.poll(async () => Math.abs(Number(await video.getAttribute('data-off')))).toBeLessThan(0.05);
  console.log(`paused, the film is ${await video.getAttribute('data-off')} s off`);
  const kept = await (await page.request.get(`${station.address}/api/flights/1`)).json();
  expect(kept.footage).toMatchObject([{ camera: 'tripod', file: 'tripod.webm', rate: [30, 1] }]);
  await page.context().close();
});

test('an overlay is rendered in the page, frame by frame, into a zip that others can read', async ({ browser }) => {
  const page = await open(browser, 'laptop', '/flights/1');
  await page.getByRole('button', { name: 'For the film' }).click();
  await page.getByLabel('Size').selectOption('1280×720');
  await page.getByLabel('From, s after liftoff').fill('1');
  await page.getByLabel('To', { exact: true }).fill('3');
  await page.getByLabel('Frames a second').selectOption('30000/1001');
  await page.getByRole('button', { name: 'Render the overlay' }).click();
  const save = page.getByRole('link', { name: /Save flight-1-overlay-1280x720\.zip/ });
  await expect(save).toBeVisible({ timeout: 120_000 });
  const [download] = await Promise.all([page.waitForEvent('download'), save.click()]);
  const zip = join(place.path, 'overlay.zip');
  await download.saveAs(zip);
  const listed = execFileSync('python3', ['-m', 'zipfile', '-l', zip]).toString();
  expect(listed.match(/overlay-\d{6}\.png/g)).toHaveLength(60);
  execFileSync('python3', ['-m', 'zipfile', '-t', zip]);
  execFileSync('python3', ['-m', 'zipfile', '-e', zip, join(place.path, 'frames')]);
  const png = readFileSync(join(place.path, 'frames/overlay-000040.png'));
  // Width, height, eight bits, with alpha (PNG, section 11.2.2).
  expect([png.readUInt32BE(16), png.readUInt32BE(20), png[24], png[25]]).toEqual([1280, 720, 8, 6]);
  writeFileSync(join(pictures, 'overlay-frame.png'), png);
  // Above the strip it is transparent, in the strip it is not.
  const alpha = await page.evaluate(async (bytes) => {
    const bitmap = await createImageBitmap(new Blob([new Uint8Array(bytes)], { type: 'image/png' }));
    const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
    const ctx = canvas.getContext('2d')!;
    ctx.drawImage(bitmap, 0, 0);
    return [ctx.getImageData(640, 100, 1, 1).data[3], ctx.getImageData(640, 500, 1, 1).data[3]];
  }, [...png]);
  expect(alpha[0]).toBe(0);
  expect(alpha[1]).toBeGreaterThan(200);
  await page.getByLabel('To', { exact: true }).fill('50');
  await page.getByRole('button', { name: 'Render the overlay' }).click();
  await page.getByRole('button', { name: 'Cancel' }).click();
  await expect(page.getByText('Cancelled: nothing was kept.')).toBeVisible();
  await page.screenshot({ path: join(pictures, 'film-laptop.png') });
  expect(await problems(page)).toEqual([]);
  await page.context().close();
});

test('a flight travels in one file, and a damaged one is refused', async ({ browser }) => {
  const page = await open(browser, 'laptop', '/flights');
  const answer = await page.request.get(`${station.address}/api/flights/1/flight-file`, { timeout: 120_000 });
  expect(answer.headers()['content-disposition']).toContain('tall-order-1.loftflight');
  const file = Buffer.from(await answer.body());
  const damaged = Buffer.from(file);
  damaged[damaged.length >> 1] ^= 1;
  const input = page.getByLabel('Take in a flight file');
  await input.setInputFiles({ name: 'a.loftflight', mimeType: 'application/octet-stream', buffer: damaged });
  await expect(page.getByText(/The flight file is refused: section \d+ \(INPT\)/)).toBeVisible({ timeout: 60_000 });
  await input.setInputFiles({ name: 'a.loftflight', mimeType: 'application/octet-stream', buffer: file });
  await expect(page.getByText('Tall Order 1 was taken in.')).toBeVisible({ timeout: 120_000 });
  const visitor = page.locator('li', { hasText: 'from another station' });
  await visitor.getByRole('link', { name: 'Tall Order 1' }).click();
  await expect(page.getByText('not live')).toBeVisible();
  await expect(sentence(page)).not.toContainText('Waiting');
  await page.screenshot({ path: join(pictures, 'visitor-laptop.png') });
  await input.waitFor({ state: 'detached' });
  await page.context().close();
});

test('no page had an error or asked anything elsewhere', () => {
  // The damaged file's refusal is an answer of 422, which the browser tells as an error of its own.
  expect(complaints.filter((text) => !text.includes('422'))).toEqual([]);
});
