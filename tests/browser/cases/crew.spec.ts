// Joining the crew and acting, and what those see who only look. The browser runs on the station's own machine; with
// `X-Forwarded-For` it is somebody else's, as behind a proxy.
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test, type Browser, type Page } from '@playwright/test';
import { Radio, Station, folder, problems, sizes, top, watchful } from '../harness.ts';

test.describe.configure({ mode: 'serial' });

const place = folder(true);
const setup = join(place.path, 'setup.toml');
const data = join(place.path, 'data');
const truth = JSON.parse(readFileSync(join(top, 'demo-data/tall-order/truth.json'), 'utf8'));

let radio: Radio;
let station: Station;
let crew: Page;
const complaints: string[] = [];

const code = (): string => JSON.parse(readFileSync(join(data, 'crew.json'), 'utf8')).code;

async function open(browser: Browser, size: { width: number; height: number }, address: string, path = '/'): Promise<Page> {
  const headers = address ? { 'X-Forwarded-For': address } : {};
  const context = await browser.newContext({ viewport: size, extraHTTPHeaders: headers });
  const page = await context.newPage();
  const own = watchful(page, station.address);
  page.on('close', () => complaints.push(...own));
  await page.goto(station.address + path);
  return page;
}

async function picture(page: Page, name: string) {
  await page.screenshot({ path: join(top, `tests/out/pictures/crew-${name}.png`) });
}

const sheet = (page: Page) => page.getByRole('dialog');
const line = (page: Page) => page.locator('section[aria-label="Flight line"] [role="img"]');

test.beforeAll(async () => {
  radio = await Radio.start('tall-order', setup);
  station = await Station.start(setup, data);
});

test.afterAll(async () => {
  await station?.end();
  radio?.end();
  place.remove();
});

test('crew join with a link and mark what a second, viewing page shows', async ({ browser }) => {
  crew = await open(browser, sizes.phone, '192.168.4.7', `/#crew=${code()}`);
  await expect(sheet(crew).getByRole('heading', { name: 'Join as crew' })).toBeVisible();
  expect(crew.url()).not.toContain('crew');
  await expect(sheet(crew).getByLabel('Code')).toHaveValue(code());
  await picture(crew, 'join-phone');
  await sheet(crew).getByLabel('Name').fill('Mo');
  await sheet(crew).getByRole('button', { name: 'Join' }).click();
  await expect(sheet(crew).getByRole('heading', { name: 'Crew', exact: false }).first()).toContainText('Mo');
  expect(station.said.join('\n')).not.toContain(code());

  const viewer = await open(browser, sizes.laptop, '192.168.4.8');
  const from = truth.liftoff_t_s - 2;
  radio.play(from);
  const flewAt = Date.now() + 2000;
  await new Promise((done) => setTimeout(done, flewAt + 5000 - Date.now()));
  // The keyboard alone: the sheet is open, and what is pressed first is the mark.
  await sheet(crew).getByRole('button', { name: 'Mark now' }).press('Enter');
  const pressedAt = Date.now();
  await sheet(crew).getByRole('button', { name: 'chute seen' }).click();
  await sheet(crew).getByRole('button', { name: '0.5 s earlier' }).click();
  await picture(crew, 'mark-phone');
  await sheet(crew).getByRole('button', { name: 'Save' }).click();
  await expect(sheet(crew).getByRole('list', { name: 'Marks' })).toContainText('chute seen');
  await expect(line(viewer)).toHaveAttribute('aria-label', /Happened:.*chute seen at/);
  const story = await (await viewer.request.get(`${station.address}/api/crew/log`)).json();
  expect(story.map((deed: { did: string; who: string }) => [deed.did, deed.who])).toEqual([
    ['correct', 'Mo'],
    ['mark', 'Mo'],
  ]);
  // The press was stamped with the page's idea of station time, and then moved by half a second.
  const said = /chute seen at ([\d.]+) s/.exec((await line(viewer).getAttribute('aria-label')) ?? '');
  expect(Math.abs(Number(said?.[1]) - ((pressedAt - flewAt) / 1000 - 0.5))).toBeLessThan(2);
  await picture(viewer, 'viewer-laptop');
  await viewer.close();
});

test('a viewer sees no action, and is refused every one', async ({ browser }) => {
  const viewer = await open(browser, sizes.phone, '192.168.4.8');
  await expect(viewer.getByRole('heading', { level: 1 })).not.toBeEmpty();
  await expect(viewer.getByRole('button', { name: 'Crew', exact: true })).toHaveCount(0);
  await viewer.getByRole('button', { name: 'Menu' }).click();
  await viewer.getByRole('button', { name: 'Join as crew' }).click();
  for (const name of ['Mark now', 'Name it', 'End the flight', 'Change the setup', 'Make a new code'])
    await expect(sheet(viewer).getByRole('button', { name })).toHaveCount(0);
  await expect(sheet(viewer)).toContainText('Mo corrected a mark to “chute seen”.');
  await sheet(viewer).getByLabel('Code').fill('AAAA-AAAA');
  await sheet(viewer).getByLabel('Name').fill('x');
  await sheet(viewer).getByRole('button', { name: 'Join' }).click();
  await expect(sheet(viewer)).toContainText('That is not the crew’s code.'.replace('’', "'"));
  await picture(viewer, 'refused-phone');
  expect(await problems(viewer, 'wcag2aaa')).toEqual([]);
  const answers = await viewer.evaluate(async () => {
    const post = (path: string, body: object) =>
      fetch(path, { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) });
    return Promise.all([
      post('/api/act', { kind: 'end' }).then((answer) => answer.status),
      post('/api/setup', { text: '', edition: '' }).then((answer) => answer.status),
      post('/api/crew/new-code', {}).then((answer) => answer.status),
      fetch('/api/setup').then((answer) => answer.status),
    ]);
  });
  expect(answers).toEqual([403, 403, 403, 403]);
  await viewer.close();
});

test('crew name the flight, change the setup with its mistakes shown, and are still crew after a restart', async ({ browser }) => {
  await sheet(crew).getByLabel('Name', { exact: true }).fill('third try');
  await sheet(crew).getByRole('button', { name: 'Name it' }).click();
  await expect(sheet(crew)).toContainText('third try');
  await sheet(crew).getByRole('button', { name: 'Change the setup' }).click();
  const text = sheet(crew).getByRole('textbox', { name: /setup\.toml/ });
  const before = await text.inputValue();
  await text.fill(before.replace(/liftoff_mass_kg = .*/, 'liftoff_mass_kg = "much"'));
  await sheet(crew).getByRole('button', { name: 'Check' }).click();
  await expect(sheet(crew).getByRole('button', { name: /Line \d+, column \d+/ })).toBeVisible();
  await expect(sheet(crew).getByRole('button', { name: 'Apply' })).toBeDisabled();
  await sheet(crew).getByRole('button', { name: /Line \d+, column \d+/ }).click();
  await picture(crew, 'setup-phone');
  expect(await problems(crew, 'wcag2aaa')).toEqual([]);
  await text.fill(before.replace(/^\[site\]/m, '# seen by Mo\n[site]'));
  await sheet(crew).getByRole('button', { name: 'Check' }).click();
  await sheet(crew).getByRole('button', { name: 'Apply' }).click();
  await expect(sheet(crew)).toContainText('Saved.');
  expect(readFileSync(setup, 'utf8')).toContain('# seen by Mo');

  const address = new URL(station.address).host;
  station.kill();
  // Until then it may still hold its port and its folder.
  await expect(crew.locator('header').first()).toContainText('no station', { timeout: 10_000 });
  station = await Station.start(setup, data, address);
  await crew.reload();
  await crew.getByRole('button', { name: 'Crew', exact: true }).click();
  await expect(sheet(crew)).toContainText('Mo named the flight “third try”.');
  expect(await problems(crew, 'wcag2aaa')).toEqual([]);

  const here = await open(browser, sizes.laptop, '');
  await here.getByRole('button', { name: 'Crew', exact: true }).click();
  await expect(sheet(here)).toContainText(`${code().slice(0, 4)}-${code().slice(4)}`);
  await sheet(here).getByRole('button', { name: 'Make a new code' }).click();
  await sheet(here).getByRole('button', { name: 'Make it' }).click();
  await expect(sheet(here)).toContainText('Nobody has joined.');
  await picture(here, 'here-laptop');
  expect(await problems(here, 'wcag2aaa')).toEqual([]);
  await sheet(crew).getByRole('button', { name: 'End the flight' }).click();
  await sheet(crew).getByRole('button', { name: 'End it' }).click();
  await expect(sheet(crew).getByRole('heading', { name: 'Join as crew' })).toBeVisible();
  for (const page of [here, crew]) await page.close();
  const unexpected = complaints.filter((text) => !/WebSocket|ERR_CONNECTION|status of 403|Failed to fetch/.test(text));
  expect(unexpected).toEqual([]);
});
