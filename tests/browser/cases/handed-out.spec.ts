// What a stored flight hands out: audits, files with progress, captions for footage, the bundle of a day, a log from memory.
// The store is made out of a recording in seconds, so nothing here waits for a flight.
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test, type Browser, type Page } from '@playwright/test';
import { Station, folder, problems, sizes, top, watchful } from '../harness.ts';

test.describe.configure({ mode: 'serial' });

const place = folder(true);
const data = join(place.path, 'data');
const demo = (file: string): string => join(top, 'demo-data/straight', file);
const complaints: string[] = [];
let station: Station;

async function open(browser: Browser, path: string, size: keyof typeof sizes = 'laptop'): Promise<Page> {
  const context = await browser.newContext({ viewport: sizes[size] });
  const page = await context.newPage();
  const own = watchful(page, station.address);
  page.on('close', () => complaints.push(...own.map((text) => `${path}: ${text}`)));
  await page.goto(station.address + path);
  return page;
}

/** Presses a button and reads what the browser saved. */
async function saved(page: Page, press: () => Promise<void>): Promise<{ name: string; bytes: Buffer }> {
  const [download] = await Promise.all([page.waitForEvent('download', { timeout: 60_000 }), press()]);
  return { name: download.suggestedFilename(), bytes: readFileSync(await download.path()) };
}

test.beforeAll(async () => {
  execFileSync('python3', [
    join(top, 'tests/faults/stored.py'),
    process.env.LOFTWATCH!,
    data,
    demo('setup.toml'),
    demo('flight.jsonl'),
  ]);
  station = await Station.start(demo('setup.toml'), data);
});

test.afterAll(async () => {
  await station?.end();
  place.remove();
});

test('audits stand on the page of a flight, each figure with its interval', async ({ browser }) => {
  const page = await open(browser, '/flights/1');
  let asked = 0;
  page.on('request', (request) => (asked += /audits\.json$/.test(request.url()) ? 1 : 0));
  await page.getByRole('button', { name: 'Audits', exact: true }).click();
  await expect(page.getByText(/^Apogee was \d+ m \(\d+ to \d+\)/)).toBeVisible({ timeout: 60_000 });
  const drogue = page.getByRole('article').filter({ hasText: 'drogue out' });
  await expect(drogue.getByText(/(Within|Over|Perhaps over) the limit/).first()).toBeVisible();
  await expect(drogue.getByText(/^\d+ m\/s (± \d+|\(\d+ to \d+\))$/).first()).toBeVisible();
  await expect(drogue.getByText(/^\d\.\d\d s after$/)).toBeVisible();
  await page.getByRole('button', { name: /units: now metres/ }).click();
  await expect(page.getByText(/^Apogee was [\d,]+ ft/)).toBeVisible();
  // Asked for once it is made, and not again.
  expect(asked).toBe(1);
  expect(await problems(page)).toEqual([]);
  await page.context().close();
});

test('files are made with a press, and what cannot be made is said where one presses', async ({ browser }) => {
  const page = await open(browser, '/flights/1', 'phone');
  await page.getByLabel('Rows a second').fill('often');
  await page.getByRole('button', { name: 'Make it' }).click();
  const alert = page.locator('section.downloads [role=alert]');
  await expect(alert).toContainText('expected a rate from 0.01 to 1000, found `often`');
  await expect(alert).toBeInViewport();
  await page.getByLabel('Rows a second').fill('4');
  await page.getByLabel('Columns').fill('since_liftoff,height_above_pad');
  const table = await saved(page, () => page.getByRole('button', { name: 'Make it' }).click());
  expect(table.name).toBe('flight-1-estimates.csv');
  expect(table.bytes.toString().split('\r\n')[0]).toMatch(/^since_liftoff_s,height_above_pad_m,/);
  const sheet = await saved(page, () => page.getByRole('button', { name: 'Flight sheet, PDF' }).click());
  expect(sheet.bytes.subarray(0, 5).toString()).toBe('%PDF-');
  const spare = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  expect(spare).toBeLessThanOrEqual(0);
  await page.context().close();
});

test('captions begin where the footage of the flight does', async ({ browser, request }) => {
  const page = await open(browser, '/flights/1');
  await expect(page.getByRole('button', { name: 'For the film' })).toBeVisible();
  // As the page keeps it once a film is aligned: liftoff is seen 20 s into the film.
  const { liftoff_s } = await (await request.get(`${station.address}/api/flights/1`)).json();
  const footage = [{ camera: 'tripod', file: 'tripod.mp4', moments: [[20, liftoff_s]], rate: [30, 1] }];
  const told = await request.post(`${station.address}/api/flights/1/remark`, { data: { kind: 'footage', footage } });
  expect(told.status(), await told.text()).toBe(204);
  await page.reload();
  await page.getByRole('button', { name: 'For the film' }).click();
  await page.getByLabel('Over the film of').selectOption('tripod');
  for (const [kind, first] of [['WebVTT', /^WEBVTT/], ['SubRip', /^1\r?\n/]] as const) {
    const file = await saved(page, () => page.getByRole('link', { name: kind }).click());
    const text = file.bytes.toString();
    expect(text).toMatch(first);
    // The half second after liftoff is at 20 s of the film.
    expect(text).toMatch(/00:00:20[.,]\d{3} --> [^\n]+\n[^\n]*(power|T\+0)/);
  }
  await page.context().close();
});

test('the day has its bundle from the list', async ({ browser }) => {
  const page = await open(browser, '/flights');
  const bundle = page.getByRole('button', { name: /^Day bundle of \d{4}-\d\d-\d\d$/ });
  const { name, bytes } = await saved(page, () => bundle.click());
  expect(name).toMatch(/^\d{4}-\d\d-\d\d-bundle\.zip$/);
  expect(bytes.subarray(0, 2).toString()).toBe('PK');
  expect(bytes.includes('flight-1/sheet.pdf') && bytes.includes('SHA256SUMS')).toBe(true);
  await expect(page.getByText(/^The bundle of .* is made: /)).toBeVisible();
  await page.context().close();
});

test('a log from memory is looked at, then kept, and the audits say so', async ({ browser, request }) => {
  // What the radio brought, as the vehicle's own memory would have it: on a clock of its own, with no restart in it.
  const csv = await (await request.get(`${station.address}/api/flights/1/readings.csv`)).text();
  const [header, ...rows] = csv.trim().split('\r\n').map((line) => line.split(','));
  const at = (part: string): number => header!.findIndex((name) => name.startsWith(part));
  const [body, clock, pressure] = [at('body'), at('received_since_liftoff'), at('pressure')];
  const first = rows[0]![body];
  const seen = new Set<number>();
  const own = rows
    .filter((row) => row[body] === first && row[clock] && row[pressure])
    .map((row) => [Math.round(Number(row[clock]) * 1000) + 90_000, Number(row[pressure]) / 100] as const)
    .filter(([ms]) => !seen.has(ms) && seen.add(ms))
    .sort(([a], [b]) => a - b);
  const log = ['ms,baro_hpa', ...own.map(([ms, hpa]) => `${ms},${hpa}`)].join('\n');
  const page = await open(browser, '/flights/1');
  const file = { name: 'memory.csv', mimeType: 'text/csv', buffer: Buffer.from(log) };
  await page.getByLabel('Open a log').setInputFiles(file);
  await expect(page.getByRole('combobox', { name: /^Its clock/ })).toHaveValue('ms');
  await expect(page.getByLabel('Unit of: Pressure')).toHaveValue('hPa');
  await page.getByLabel('Unit of: Pressure').selectOption('kPa');
  await page.getByRole('button', { name: 'Look at it' }).click();
  await expect(page.getByText('the unit looks like hPa')).toBeVisible();
  await page.getByLabel('Unit of: Pressure').selectOption('hPa');
  await page.getByRole('button', { name: 'Look at it' }).click();
  await expect(page.getByText(/Liftoff at (89|90)\.\d+ s of its clock/)).toBeVisible();
  await expect(page.locator('section.logs pre')).toContainText('pressure');
  expect(await problems(page)).toEqual([]);
  await page.getByRole('button', { name: 'Keep it with the flight' }).click();
  await expect(page.getByText('The path with hindsight is computed with it')).toBeVisible();
  await expect(page.getByText(/Measured against .*the log `memory\.csv` from the memory/)).toBeVisible({ timeout: 60_000 });
  await page.context().close();
});

test('no page had an error or asked anything elsewhere', () => {
  // What is refused is an answer of 422, which the browser tells as an error of its own.
  expect(complaints.filter((text) => !text.includes('422'))).toEqual([]);
});
