// The Radio page: links, frames with the fields on their bytes, wrong ones with the reason, and a layout that is tried while
// it is written. With `X-Forwarded-For` a browser is somebody else's, who only looks.
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test, type Browser, type Page } from '@playwright/test';
import { Radio, Station, folder, problems, sizes, top, watchful } from '../harness.ts';

test.describe.configure({ mode: 'serial' });

const place = folder(true);
const setup = join(place.path, 'setup.toml');
const truth = JSON.parse(readFileSync(join(top, 'demo-data/tall-order/truth.json'), 'utf8'));

let radio: Radio;
let station: Station;

async function open(browser: Browser, size: { width: number; height: number }, headers = {}): Promise<Page> {
  const context = await browser.newContext({ viewport: size, extraHTTPHeaders: headers });
  const page = await context.newPage();
  await page.goto(`${station.address}/radio`);
  return page;
}

const frames = (page: Page) => page.getByRole('region', { name: 'Frames' });
const text = (page: Page) => page.getByLabel('Text of the setup file, tried while you type');

test.beforeAll(async () => {
  radio = await Radio.start('tall-order', setup);
  station = await Station.start(setup, join(place.path, 'data'));
  radio.play(truth.liftoff_t_s - 20);
});

test.afterAll(async () => {
  await station?.end();
  radio?.end();
  place.remove();
});

test('frames come with their fields, wrong ones with the reason, to everyone', async ({ browser }) => {
  const page = await open(browser, sizes.laptop, { 'X-Forwarded-For': '192.168.4.9' });
  const complaints = watchful(page, station.address);
  await expect(page.getByRole('region', { name: 'Links' })).toContainText('mast serial up');
  await expect(frames(page).locator('.field').filter({ hasText: /^p \d+ Pa$/ }).first()).toBeVisible();
  // Bytes that are no frame: an end byte, noise, an end byte. Good ones soon push it out of the ten that are shown.
  await page.getByLabel('Only wrong ones').check();
  await radio.write('mast serial', new Uint8Array([0, 1, 2, 3, 4, 5, 6, 7, 0]));
  const rows = frames(page).locator('ol > li');
  await expect(rows.first()).toContainText('Wrong: ');
  await page.getByRole('button', { name: 'Hold still' }).click();
  await expect(rows.first()).toContainText('Wrong: ');
  await expect(frames(page).locator('ol > li:not([data-wrong])')).toHaveCount(0);
  await expect(page.getByRole('button', { name: 'Open the setup’s text' })).toHaveCount(0);
  await expect(page.getByRole('region', { name: 'Links' })).toContainText(/mast serial up.*; [\d,]+ bytes received/);
  await page.getByLabel('Only wrong ones').uncheck();
  await expect(rows).toHaveCount(10);
  await page.getByRole('button', { name: /^Show 40 more of / }).click();
  await expect(rows).toHaveCount(50);
  expect(await problems(page, 'wcag2aaa')).toEqual([]);
  await page.screenshot({ path: join(top, 'tests/out/pictures/radio-laptop.png') });
  expect(complaints).toEqual([]);
});

test('a layout is tried on the newest frames while it is written, and the wrong line is named', async ({ browser }) => {
  const page = await open(browser, sizes.phone);
  await page.getByRole('button', { name: 'Open the setup’s text' }).click();
  const whole = await text(page).inputValue();
  const line = whole.split('\n').findIndex((words) => words === 'means = "pressure"') + 1;
  await text(page).fill(whole.replace('means = "pressure"', 'means = "presure"'));
  await expect(page.locator('.mistake').first()).toContainText(`Line ${line}, `);
  await page.getByRole('button', { name: `Line ${line}, column` }).first().click();
  await expect(text(page)).toBeFocused();
  const before = await text(page).evaluate((field: HTMLTextAreaElement) => field.value.slice(0, field.selectionStart));
  expect(before.split('\n').length).toBe(line);
  await text(page).fill(whole.replaceAll('"body packet"', '"as I read it"'));
  await expect(page.getByRole('heading', { name: 'Frames, as the text above reads them' })).toBeVisible();
  await expect(frames(page)).toContainText('as I read it');
  expect(await problems(page, 'wcag2aaa')).toEqual([]);
  expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(sizes.phone.width);
  expect(readFileSync(setup, 'utf8')).toBe(whole);
  await page.screenshot({ path: join(top, 'tests/out/pictures/radio-phone.png') });
});
