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
    await expect(field(key)).toHaveCSS('border-top-width', '3px');
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

/** Types what is new, field by field. */
async function fillIn(of: Page, key: string, told: Record<string, string>) {
  for (const [figure, value] of Object.entries(told)) {
    const at = of.locator(`[id="${key}.${figure}"]`);
    if ((await at.evaluate((e) => e.tagName)) === 'SELECT') await at.selectOption(value);
    else await at.fill(value);
  }
}

test('a camera with its cues, descents and a line of cars is added by keyboard in one go, and taken out again to the byte', async () => {
  const before = readFileSync(setup, 'utf8');
  const form = page.getByRole('region', { name: 'Told' });
  const add = (what: string) => form.getByRole('button', { name: `Add ${what === 'area' ? 'an' : 'a'} ${what}`, exact: true });
  await add('body').press('Enter');
  await expect(field('body[+1].name')).toBeFocused();
  await page.keyboard.type('Cam D');
  await fillIn(page, 'body[+1]', { mass_kg: '1.9' });
  // Its descents are offered in it, the name of a cue that is not there yet once that has one.
  await add('cue').press('Enter');
  await expect(field('cue[+2].name')).toBeFocused();
  await page.keyboard.type('Cam D out');
  await fillIn(page, 'cue[+2]', { kind: 'release', when: 'before apogee', value: '1.0' });
  await expect(form.locator('label[for="cue[+2].value"]')).toHaveText('its figure, s');
  await fillIn(page, 'body[+1]', { freed_by: 'Cam D out' });
  await add('cue').press('Enter');
  await fillIn(page, 'cue[+3]', { name: 'Cam D chute', kind: 'chute', body: 'Cam D', when: 'after cue', of: 'Cam D out', value: '2' });
  const inBody = form.locator('.offer', { hasText: 'Add a descent state' });
  await inBody.nth((await inBody.count()) - 1).press('Enter');
  await expect(field('body[+1].descent[+4].state')).toBeFocused();
  await fillIn(page, 'body[+1].descent[+4]', { state: 'main', cue: 'Cam D chute', rate_mps: '6' });
  await add('area').press('Enter');
  await fillIn(page, 'site.area[+5]', { name: 'far cars', kind: 'cars', points_m: '-30, -40\n30, -40' });
  await picture(page, 'new-laptop');
  await form.getByRole('button', { name: 'Apply 5' }).press('Enter');
  await expect(form.getByText(/^Applied/)).toBeVisible();
  const after = readFileSync(setup, 'utf8');
  let at = 0;
  for (const line of before.split('\n')) {
    at = after.indexOf(line, at);
    expect(at, line).toBeGreaterThanOrEqual(0);
  }
  expect(after).toContain('name = "Cam D"\nfreed_by = "Cam D out"\nmass_kg = 1.9\n');
  expect(after).toContain('points_m = [[-30, -40], [30, -40]]');
  // The page follows: a condition for the new cue, a distance of the new line.
  await expect(page.getByRole('region', { name: 'Cue planner' }).getByRole('button', { name: 'Cam D out' })).toBeVisible();
  await expect(row('margin:distance:far cars')).toBeVisible();
  // A copy of this vehicle has the camera, too.
  await form.getByRole('button', { name: 'Keep a copy of this vehicle' }).press('Enter');
  await expect(form.getByText('A copy of this vehicle is kept.')).toBeVisible();

  for (const title of ['Cue: Cam D out, before apogee', 'Cue: Cam D chute, after cue', 'Area: far cars, cars']) {
    await form.locator('summary', { hasText: title }).press('Enter');
    await form.getByRole('button', { name: `Take out: ${title}` }).press('Enter');
  }
  // What still names them is told at its field.
  await form.getByRole('button', { name: 'Apply 3' }).press('Enter');
  await expect(page.locator('[id="body[Cam D].freed_by-wrong"]')).toContainText('expected the name of a cue');
  await expect(field('body[Cam D].freed_by')).toBeFocused();
  expect(readFileSync(setup, 'utf8')).toBe(after);
  await form.getByRole('button', { name: 'Take out: Body: Cam D' }).press('Enter');
  await form.getByRole('button', { name: 'Apply 4' }).press('Enter');
  await expect(form.getByText(/^Applied/)).toBeVisible();
  expect(readFileSync(setup, 'utf8')).toBe(before);
  await form.getByRole('button', { name: 'Take it' }).first().press('Enter');
  await expect(form.getByText(/is taken; what it took the place of was kept/)).toBeVisible();
  await expect(form.locator('summary', { hasText: 'Body: Cam D' })).toBeVisible();
  writeFileSync(setup, before);
  await expect(row('margin:distance:far cars')).toHaveCount(0);
  await expect(page.getByRole('region', { name: 'Cue planner' }).getByRole('button', { name: 'Cam D out' })).toHaveCount(0);
  await form.getByRole('button', { name: 'Begin anew' }).press('Enter');
  await expect(form.locator('summary', { hasText: 'Body: Cam D' })).toHaveCount(0);
});

test('more nonsense: names that lead nowhere, stand twice or not at all, figures below nothing', async () => {
  const before = readFileSync(setup, 'utf8');
  const form = page.getByRole('region', { name: 'Told' });
  const apply = form.getByRole('button', { name: /^Apply/ });
  const wrong = (key: string) => page.locator(`[id="${key}-wrong"]`);
  await form.getByRole('button', { name: 'Add a cue', exact: true }).press('Enter');
  // Nothing at all: its name first, then each figure that is needed.
  await apply.press('Enter');
  await expect(wrong('cue[+1].name')).toHaveText(/a name of 1 to 100 characters/);
  await fillIn(page, 'cue[+1]', { name: 'drogue out' });
  await apply.press('Enter');
  await expect(wrong('cue[+1].name')).toHaveText(/a name that no other cue has, found a second cue called "drogue out"/);
  await fillIn(page, 'cue[+1]', { name: 'x[' });
  await apply.press('Enter');
  await expect(wrong('cue[+1].name')).toHaveText(/each bracket is closed/);
  await fillIn(page, 'cue[+1]', { name: 'late' });
  await apply.press('Enter');
  for (const figure of ['kind', 'when', 'value']) await expect(wrong(`cue[+1].${figure}`)).toBeVisible();
  await fillIn(page, 'cue[+1]', { kind: 'release', when: 'after cue', of: 'late', value: '-2', delay_s: '-0.1', limit_airspeed_mps: '0', limit_opening_load_n: '300' });
  await apply.press('Enter');
  await expect(wrong('cue[+1].of')).toHaveText(/another cue, found the cue itself/);
  await expect(wrong('cue[+1].value')).toHaveText(/0 to 3600 s/);
  await expect(wrong('cue[+1].delay_s')).toHaveText(/0 to 60 s/);
  await expect(wrong('cue[+1].limit_airspeed_mps')).toHaveText(/0\.5 to 1000 m\/s/);
  await form.getByRole('button', { name: 'Leave out the new cue' }).press('Enter');

  await form.getByRole('button', { name: 'Add a body', exact: true }).press('Enter');
  await fillIn(page, 'body[+1]', { name: 'Cam A', mass_kg: '0' });
  await apply.press('Enter');
  await expect(wrong('body[+1].name')).toHaveText(/a second body called "Cam A"/);
  await fillIn(page, 'body[+1]', { name: 'brick', mass_kg: '-3', transmitter: '1.5', freed_by: 'drogue out', gnss_greatest_speed_mps: '1e9' });
  await apply.press('Enter');
  await expect(wrong('body[+1].mass_kg')).toHaveText(/0\.005 to 1000 kg/);
  await expect(wrong('body[+1].transmitter')).toHaveText(/a whole number/);
  await expect(wrong('body[+1].freed_by')).toHaveText(/a release, separation or staging, found a chute/);
  await expect(wrong('body[+1].gnss_greatest_speed_mps')).toBeVisible();
  await fillIn(page, 'body[+1]', { mass_kg: '300', transmitter: '1', freed_by: 'Cam A out', gnss_greatest_speed_mps: '' });
  await apply.press('Enter');
  await expect(form.locator('.wrong', { hasText: 'the vehicle after burnout' }).first()).toBeVisible();
  await expect(wrong('body[+1].transmitter')).toHaveText(/a number that no other body has, found 1 again/);
  await form.getByRole('button', { name: 'Leave out the new body' }).press('Enter');

  // Figures that are there; each put back afterwards.
  for (const [key, typed, words] of [
    ['cue[Cam A out].delay_s', '-0.2', /0 to 60 s/],
    ['cue[Cam A out].spread_s', '0', /0\.001 to 30 s/],
    ['cue[Cam A out].lag_s', '-1', /0 to/],
    ['body[Cam A].mass_kg', '0', /0\.005 to 1000 kg/],
    ['vehicle.diameter_m', '240', /m, found 240/],
    ['vehicle.rail_guided_length_m', '0', /0\.2 to 50 m/],
    ['vehicle.rail_tilt_from_vertical_deg', '88', /0 to 45 degrees/],
    ['vehicle.drag_coefficient', '-0.5', /0\.05 to 3/],
    ['motor.burn_time_s', '0', /0\.05 to 120 s/],
    ['motor.propellant_mass_kg', '40', /less than the 34\.000 kg/],
    ['motor.cluster', '0', /1 to/],
    ['motor.thrust_points', '0 0\n1 -5', /not negative/],
    ['motor.thrust_points', 'steep', /pairs of numbers/],
    ['motor.thrust_curve', '/etc/passwd', /a page names no new files/],
    ['site.latitude_deg', '91', /-90 to 90/],
    ['site.area[crowd line].points_m', '1 2 3', /pairs of numbers/],
    ['site.area[crowd line].points_m', '1 2', /2 to 500 points/],
    ['weather.wind_from_deg', 'north', /a number/],
    ['weather.station_pressure_hpa', '1016', /within 30 hPa/],
    ['weather.temperature_c', '300', /°?C/],
    ['limits.satellites_least', '-1', /./],
    ['limits.ceiling_m', '0', /./],
  ] as const) {
    const told = await field(key).inputValue();
    await field(key).fill(typed);
    await apply.press('Enter');
    await expect(field(key), `${key} = ${typed}`).toHaveAttribute('aria-invalid', 'true');
    await expect(wrong(key)).toHaveText(words);
    await field(key).fill(told);
  }
  await form.getByRole('button', { name: 'Begin anew' }).press('Enter');
  expect(readFileSync(setup, 'utf8')).toBe(before);
  // The planner's own fields.
  const planner = page.getByRole('region', { name: 'Cue planner' });
  await planner.getByLabel('mechanism’s delay, s').fill('-1');
  await expect(planner.getByText('expected 0 to 30 s')).toBeVisible();
  await expect(page.locator('#condition-text')).toHaveCount(0);
  await planner.getByLabel('mechanism’s delay, s').fill('0.1');
  await expect(page.locator('#condition-text')).toBeVisible();
});

test('a crew member with one hand on a phone adds a step and a cue, and takes them back', async ({ browser }) => {
  const before = readFileSync(setup, 'utf8');
  const context = await browser.newContext({ viewport: sizes.phone, hasTouch: true });
  const phone = await context.newPage();
  const own = watchful(phone, station.address);
  await phone.goto(`${station.address}/prepare`);
  const form = phone.getByRole('region', { name: 'Told' });
  await phone.getByRole('navigation', { name: 'On this page' }).getByRole('button', { name: 'Told' }).tap();
  await expect(form).toBeFocused();
  await expect(form.getByRole('heading', { name: /^What is told/ })).toBeInViewport();
  await form.getByRole('button', { name: 'Add a step', exact: true }).tap();
  await phone.locator('[id="checklist[+1].step"]').fill('Cover off the port');
  await form.getByRole('button', { name: 'Add a cue', exact: true }).tap();
  await fillIn(phone, 'cue[+2]', { name: 'smoke', kind: 'release', when: 'after liftoff', value: '3' });
  // What applies it stays in reach of the thumb.
  const apply = form.getByRole('button', { name: 'Apply 2' });
  await expect(apply).toBeInViewport({ ratio: 1 });
  await phone.screenshot({ path: join(top, 'tests/out/pictures/prepare-new-phone.png') });
  expect(await phone.evaluate(() => document.documentElement.scrollWidth - innerWidth)).toBeLessThanOrEqual(0);
  const small = await phone.evaluate(() =>
    [...document.querySelectorAll('.form button, .form select, .form input, .form textarea, .form summary')]
      .map((e) => ({ name: e.textContent?.trim() || e.id, box: e.getBoundingClientRect() }))
      .filter(({ box }) => box.width > 0 && (box.height < 47.5 || box.width < 47.5))
      .map(({ name }) => name),
  );
  expect(small).toEqual([]);
  expect(await problems(phone, 'wcag2aaa')).toEqual([]);
  await apply.tap();
  await expect(form.getByText(/^Applied/)).toBeVisible();
  expect(readFileSync(setup, 'utf8')).toContain('step = "Cover off the port"');
  const steps = before.split('[[checklist]]').length;
  for (const title of ['Cue: smoke, after liftoff', `Step ${steps}: Cover off the port`]) {
    await form.locator('summary', { hasText: title }).tap();
    await form.getByRole('button', { name: `Take out: ${title}` }).tap();
  }
  await form.getByRole('button', { name: 'Apply 2' }).tap();
  await expect(form.getByText(/^Applied/)).toBeVisible();
  expect(readFileSync(setup, 'utf8')).toBe(before);
  expect(own).toEqual([]);
  await context.close();
});

test('the checklist prints with what the radio says beside it', async () => {
  await page.emulateMedia({ media: 'print' });
  await expect(page.getByText('Batteries in, switches safe').filter({ visible: true })).toHaveCount(1);
  await expect(page.getByRole('region', { name: 'Cue planner' })).toBeHidden();
  await expect(page.getByText(/^Advice, not range safety: the range’s own officers/)).toBeVisible();
  await picture(page, 'checklist-print');
  // A sheet of paper holds it.
  const paper = (await page.pdf({ format: 'A4' })).toString('latin1');
  expect(paper.match(/\/Type \/Page\b/g)).toHaveLength(1);
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
