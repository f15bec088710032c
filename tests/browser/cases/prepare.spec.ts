// Prepare: readiness from the radio, margins, planner and form, by keyboard alone and on a phone; nonsense answered at its field.
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test, type Page } from '@playwright/test';
import { Radio, Station, folder, problems, sizes, top, watchful } from '../harness.ts';

test.describe.configure({ mode: 'serial' });

const place = folder(true);
const setup = join(place.path, 'setup.toml');
const data = join(place.path, 'data');

let radio: Radio;
let station: Station;
let page: Page;
const complaints: string[] = [];

const picture = (of: Page, name: string) =>
  of.screenshot({ path: join(top, `tests/out/pictures/prepare-${name}.png`), fullPage: true });
const sentence = (of: Page) => of.getByRole('heading', { level: 1 });
const row = (key: string) => page.locator(`tr[data-key="${key}"]`);
const field = (key: string) => page.locator(`[id="${key}"]`);

test.beforeAll(async ({ browser }) => {
  radio = await Radio.start('tall-order', setup);
  // A setup with comments, steps and a battery limit, as a crew would have it.
  const text = readFileSync(setup, 'utf8')
    .replace('[vehicle]', '# Weighed with everything in it.\n[vehicle]')
    .replace(/^liftoff_mass_kg = 34\.0$/m, 'liftoff_mass_kg = 34.0  # scale of the club')
    .replace(/^name = "Body"$/m, 'name = "Body"\nbattery_least_v = 9.0');
  writeFileSync(setup, `${text}\n[[checklist]]\nstep = "Batteries in, switches safe"\nwho = "Mo"\n`);
  station = await Station.start(setup, data);
  page = await (await browser.newContext({ viewport: sizes.laptop })).newPage();
  complaints.push(...[]);
  const own = watchful(page, station.address);
  page.on('close', () => complaints.push(...own));
  await page.goto(`${station.address}/prepare`);
});

test.afterAll(async () => {
  await page?.close();
  await station?.end();
  radio?.end();
  place.remove();
  expect(complaints).toEqual([]);
});

test('figures from the radio stand beside their limits, and what is amiss is accepted by keyboard, with a reason', async () => {
  radio.play(0, 24);
  await expect(sentence(page)).toHaveText(/^\d+ of \d+ within limits\./);
  await expect(row('battery:Body')).toContainText('at least 9.00 V');
  await expect(row('battery:Body')).toContainText('Look');
  const words = await page.locator('main').innerText();
  expect(words).not.toMatch(/\b(ready|is safe|safe to|good to go|cleared)\b/i);

  const accept = page.getByRole('button', { name: 'Accept as it is: Body battery' });
  await accept.focus();
  await page.keyboard.press('Enter');
  await expect(page.getByLabel('Accepted because')).toBeFocused();
  await page.keyboard.type('it is changed before arming');
  await page.keyboard.press('Enter');
  await expect(row('battery:Body')).toContainText('because it is changed before arming');
  await expect(sentence(page)).toContainText('one accepted');
  const log = await (await page.request.get(`${station.address}/api/crew/log`)).json();
  expect(log[0]).toMatchObject({ did: 'accept' });
  expect(log[0].what).toContain('because it is changed before arming');
  // A margin is accepted the same way.
  await page.getByRole('button', { name: 'Accept as it is: Cam A out, airspeed' }).press('Enter');
  await expect(page.getByLabel('Accepted because')).toBeFocused();
  await page.keyboard.type('a gentle arm');
  await page.keyboard.press('Enter');
  await expect(row('margin:cue:Cam A out')).toContainText('because a gentle arm');
  await picture(page, 'pad-laptop');
  // Watch counts the same.
  const watch = await page.context().newPage();
  await watch.goto(station.address);
  await expect(watch.getByRole('heading', { level: 1 })).toHaveText(/^On the pad\. 4 of 4 heard, \d+ of \d+ by radio within limits\.$/);
  await watch.close();
});

test('the planner gives a guarded condition by keyboard, whole or not at all', async () => {
  const planner = page.getByRole('region', { name: 'Cue planner' });
  await planner.getByRole('button', { name: 'Cam A out' }).press('Enter');
  await planner.getByLabel('wanted by').selectOption('lead');
  await expect(planner.locator('output')).toHaveText('2 s before apogee');
  await planner.getByRole('button', { name: 'More' }).press('Enter');
  await expect(planner.locator('output')).toHaveText('2.5 s before apogee');
  await expect(planner.locator('tr.wanted')).toContainText('2.5 s');
  await planner.getByLabel('lag of the speed, s').fill('0.2');
  await page.keyboard.press('Tab');
  const copy = page.locator('#condition-text');
  await expect(copy).toContainText('taken off: lag 0.20 s');
  for (const part of ['after_liftoff_detected', 'after_burnout_detected', 'earliest_s', 'mach_lockout_s', 'least_height_m', 'climb_at_most_mps', 'held_for_s', 'timer_s']) {
    await expect(copy).toContainText(part);
  }
  await page.context().grantPermissions(['clipboard-read', 'clipboard-write']);
  await planner.getByRole('button', { name: 'Copy all of it' }).press('Enter');
  await expect(planner.getByText('Copied, all of it.')).toBeVisible();
  expect(await page.evaluate(() => navigator.clipboard.readText())).toBe(await copy.innerText().then((t) => t.replace(/\n*$/, '\n')));
  // The hand sum stands beside: 2.5 s of it is 24.5 m/s.
  await expect(planner.locator('tr.wanted')).toContainText('24.5');
});

test('nonsense is answered in words at its field, and nothing of it is taken', async () => {
  const before = readFileSync(setup, 'utf8');
  const form = page.getByRole('region', { name: 'Told' });
  const closed = form.locator('details:not([open]) summary');
  await expect(closed.first()).toBeVisible();
  while ((await closed.count()) > 0) await closed.first().press('Enter');
  for (const [key, typed, words] of [
    ['vehicle.liftoff_mass_kg', '0', /0\.05 to 1000 kg/],
    ['body[Body].descent[2].drag_area_m2', '0', /a parachute without area brakes nothing/],
    ['weather.wind_mps', '300', /0 to 40 m\/s/],
    ['motor.total_impulse_ns', '300', /more thrust than the 333 N that 34\.000 kg weigh/],
    ['vehicle.diameter_m', 'wide', /a number, with a decimal point/],
  ] as const) {
    const told = await field(key).inputValue();
    await field(key).fill(typed);
    await form.getByRole('button', { name: /^Apply/ }).press('Enter');
    await expect(field(key)).toHaveAttribute('aria-invalid', 'true');
    await expect(page.locator(`[id="${key}-wrong"]`)).toHaveText(words);
    await expect(field(key)).toBeFocused();
    await field(key).fill(told);
  }
  await picture(page, 'nonsense-laptop');
  expect(readFileSync(setup, 'utf8')).toBe(before);
});

test('the form changes its line of the file and no other; margins follow; a vehicle is kept and taken', async () => {
  const before = readFileSync(setup, 'utf8');
  const form = page.getByRole('region', { name: 'Told' });
  await form.getByRole('button', { name: 'Begin anew' }).press('Enter');
  await form.getByRole('button', { name: 'Keep a copy of this vehicle' }).press('Enter');
  await expect(form.getByText('A copy of this vehicle is kept.')).toBeVisible();
  await field('vehicle.liftoff_mass_kg').fill('33.5');
  await form.getByRole('textbox', { name: 'Source of: mass at liftoff' }).fill('scale of the range');
  await form.getByRole('button', { name: 'Apply 1' }).press('Enter');
  await expect(form.getByText(/^Applied/)).toBeVisible();
  const after = readFileSync(setup, 'utf8');
  expect(after).toBe(before.replace('liftoff_mass_kg = 34.0  # scale of the club', 'liftoff_mass_kg = 33.5  # scale of the range'));
  await expect(page.locator('tr[data-key="margin:thrust_first"]')).toContainText('4.6 : 1');
  await form.getByRole('button', { name: 'Take it' }).first().press('Enter');
  await expect(form.getByText(/is taken; what it took the place of was kept/)).toBeVisible();
  await expect(field('vehicle.liftoff_mass_kg')).toHaveValue('34.0');
  expect(readFileSync(setup, 'utf8')).toContain('# Weighed with everything in it.');
  await expect(form.locator('ul.rows li')).toHaveCount(2);
});

test('the checklist prints with what the radio says beside it', async () => {
  await page.emulateMedia({ media: 'print' });
  await expect(page.getByText('Batteries in, switches safe')).toBeVisible();
  await expect(page.getByRole('region', { name: 'Cue planner' })).toBeHidden();
  await expect(page.getByText(/^Advice, not range safety: the range’s own officers/)).toBeVisible();
  await picture(page, 'checklist-print');
  await page.emulateMedia({ media: 'screen' });
});

test('a phone that only looks sees all of it within its width, and changes nothing', async ({ browser }) => {
  const context = await browser.newContext({
    viewport: sizes.phone,
    hasTouch: true,
    extraHTTPHeaders: { 'X-Forwarded-For': '192.168.4.9' },
  });
  const phone = await context.newPage();
  const own = watchful(phone, station.address);
  await phone.goto(`${station.address}/prepare`);
  await expect(sentence(phone)).toHaveText(/within limits/);
  await expect(phone.getByRole('region', { name: 'Cue planner' }).locator('tr.wanted')).toBeVisible();
  await expect(phone.getByRole('region', { name: 'Told' })).toHaveCount(0);
  await expect(phone.getByRole('button', { name: /^Accept/ })).toHaveCount(0);
  expect(await phone.evaluate(() => document.documentElement.scrollWidth - innerWidth)).toBeLessThanOrEqual(0);
  const small = await phone.evaluate(() =>
    [...document.querySelectorAll('main button, main select, main input')]
      .map((e) => ({ name: e.textContent?.trim() ?? '', box: e.getBoundingClientRect() }))
      .filter(({ box }) => box.width > 0 && (box.height < 47.5 || box.width < 47.5))
      .map(({ name }) => name),
  );
  expect(small).toEqual([]);
  const planner = phone.getByRole('region', { name: 'Cue planner' });
  await planner.getByRole('button', { name: 'drogue out' }).tap();
  await expect(planner.locator('output')).toHaveText('1.5 s after apogee');
  await picture(phone, 'phone');
  expect(own).toEqual([]);
  await context.close();
});

test('no accessibility problem that axe knows, and contrast of 7 to 1 in both themes', async () => {
  for (const theme of ['sun', 'night']) {
    await page.evaluate((to) => localStorage.setItem('loftwatch.theme', to), theme);
    await page.reload();
    await expect(page.getByRole('region', { name: 'Cue planner' }).locator('tr.wanted')).toBeVisible();
    expect(await problems(page, 'wcag2aaa')).toEqual([]);
    for (const [name, size] of Object.entries(sizes)) {
      await page.setViewportSize(size);
      await picture(page, `${name}-${theme}`);
    }
    await page.setViewportSize(sizes.laptop);
  }
});
