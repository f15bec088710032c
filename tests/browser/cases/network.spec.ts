// A range's network: pages before the station answers, HTTPS at the same port, and what is said where it is missing.
import { join } from 'node:path';
import { expect, test, type Browser, type Page } from '@playwright/test';
import { Radio, Station, folder, problems, sizes, top } from '../harness.ts';
import config from '../playwright.config.ts';

test.describe.configure({ mode: 'serial' });
// What multicast DNS does on a range: the name leads to the station. Over HTTP such a name is no secure context.
const launch = config.use?.launchOptions;
test.use({
  launchOptions: { ...launch, args: [...(launch?.args ?? []), '--host-resolver-rules=MAP loftwatch.local 127.0.0.1'] },
});

const place = folder(true);
const setup = join(place.path, 'setup.toml');
const data = join(place.path, 'data');

let radio: Radio;
let station: Station;

const port = (): string => new URL(station.address).port;
const sentence = (page: Page) => page.getByRole('heading', { level: 1 });

async function open(browser: Browser, url: string): Promise<Page> {
  const context = await browser.newContext({ viewport: sizes.phone, ignoreHTTPSErrors: true });
  const page = await context.newPage();
  await page.goto(url);
  return page;
}

test.beforeAll(async () => {
  radio = await Radio.start('tall-order', setup);
  station = await Station.start(setup, data);
  radio.play(0);
});

test.afterAll(async () => {
  await station?.end();
  radio?.end();
  place.remove();
});

test('over plain HTTP each thing that is missing is named, with the way to get it, and Watch works', async ({ browser }) => {
  const page = await open(browser, `http://loftwatch.local:${port()}/device`);
  for (const what of ['Screen', 'Own place', 'App'])
    await expect(page.getByRole('row', { name: new RegExp(what) })).toContainText('HTTPS only');
  await expect(page.getByRole('heading', { name: 'Trust this station once' })).toBeVisible();
  await expect(page.getByLabel('SHA-256 fingerprint')).toHaveText(/^([0-9A-F]{2} ){31}[0-9A-F]{2}$/);
  // The same stands in the station's terminal.
  const printed = await page.getByLabel('SHA-256 fingerprint').textContent();
  expect(station.said.join('\n')).toContain(printed!.trim());
  const code = page.getByRole('img', { name: /QR code of https/ });
  await expect.poll(() => code.evaluate((image: HTMLImageElement) => image.naturalWidth)).toBeGreaterThan(0);
  expect(await problems(page)).toEqual([]);
  await page.screenshot({ path: join(top, 'tests/out/pictures/device-phone.png'), fullPage: true });
  await page.getByRole('button', { name: 'Menu' }).click();
  await page.getByRole('link', { name: 'Watch' }).click();
  await expect(sentence(page)).toContainText('On the pad');
  await page.getByRole('button', { name: 'Show me' }).click();
  await expect(page.locator('main')).toContainText('a browser tells it over HTTPS only');
  await page.context().close();
});

test('over HTTPS, at the same port, the own place is shown and the socket is encrypted', async ({ browser }) => {
  const page = await open(browser, `https://loftwatch.local:${port()}/`);
  await page.context().grantPermissions(['geolocation']);
  await page.context().setGeolocation({ latitude: 38.2509, longitude: -117.35, accuracy: 12 });
  await expect(sentence(page)).toContainText('On the pad');
  await expect(page.locator('header')).toContainText('live');
  await page.getByRole('button', { name: 'Show me' }).click();
  await expect(page.locator('section[aria-label="Ground"] svg[role="img"]')).toHaveAttribute('aria-label', /You are 100 m north of the pad/);
  await page.goto(`https://loftwatch.local:${port()}/device`);
  await expect(page.getByRole('row', { name: /Connection/ })).toContainText('Private');
  await expect(page.locator('main')).not.toContainText('Trust this station once');
  await page.context().close();
});

test('a page says that the network is silent, and catches up without a reload', async ({ browser }) => {
  const page = await open(browser, station.address);
  await expect(page.locator('header')).toContainText('live');
  // As when a phone is out of reach: nothing is closed, nothing comes.
  station.hold();
  await expect(page.locator('header')).toContainText('no station');
  await expect(page.getByRole('status').first()).toContainText('Page lost the station');
  station.release();
  await expect(page.locator('header')).toContainText('live');
  await page.context().close();
});

test('the shell opens before the station answers, and follows it when it does', async ({ browser }) => {
  const page = await open(browser, station.address);
  await expect(sentence(page)).toContainText('On the pad');
  await page.evaluate(async () => {
    await navigator.serviceWorker.ready;
    // Until the worker answers for this page.
    while (!navigator.serviceWorker.controller) await new Promise((done) => setTimeout(done, 50));
  });
  const address = new URL(station.address).host;
  await station.end();
  await page.reload();
  await expect(sentence(page)).toContainText('Waiting for the station');
  await page.screenshot({ path: join(top, 'tests/out/pictures/shell-phone.png') });
  station = await Station.start(setup, data, address);
  await expect(sentence(page)).toContainText('On the pad', { timeout: 20_000 });
  await page.context().close();
});

test('it can be installed: a manifest with icons that are there', async ({ request }) => {
  const manifest = await (await request.get(`${station.address}/manifest.webmanifest`)).json();
  expect(manifest.display).toBe('standalone');
  for (const { src, sizes: size } of manifest.icons) {
    const icon = await (await request.get(station.address + src)).body();
    // The width stands in bytes 16 to 19 of a PNG file.
    expect(`${icon.readUInt32BE(16)}x${icon.readUInt32BE(20)}`).toBe(size);
  }
});
