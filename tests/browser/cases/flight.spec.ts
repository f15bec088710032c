// One flight from bytes in pseudo-terminals to pixels, watched live at three sizes, then replayed and exported.
// The cases follow the flight in real time, so they run in order and share one station.
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test, type Browser, type Page } from '@playwright/test';
import { Radio, Station, folder, problems, sizes, top, watchful } from '../harness.ts';

test.describe.configure({ mode: 'serial' });

const place = folder(true);
const setup = join(place.path, 'setup.toml');
const data = join(place.path, 'data');
const truth = JSON.parse(readFileSync(join(top, 'demo-data/tall-order/truth.json'), 'utf8'));
/** The recording is played from this long before liftoff, s. */
const BEFORE_S = 6;

let radio: Radio;
let station: Station;
const pages: Record<string, Page> = {};
const complaints: string[] = [];
let flewAt = 0;

async function open(browser: Browser, name: string, size: { width: number; height: number }, path = '/') {
  const context = await browser.newContext({ viewport: size });
  const page = await context.newPage();
  const own = watchful(page, station.address);
  // The browser of the tests has no voice: the laptop is given one that keeps what it says, the phone keeps its tones.
  await page.addInitScript((voice) => {
    const kept: string[] = [];
    Object.assign(window, { kept });
    if (voice) {
      speechSynthesis.getVoices = () => [{}] as SpeechSynthesisVoice[];
      speechSynthesis.speak = (utterance) => {
        kept.push(utterance.text);
        setTimeout(() => utterance.onend?.(new Event('end') as SpeechSynthesisEvent), 500);
      };
    } else {
      speechSynthesis.getVoices = () => [];
      const start = OscillatorNode.prototype.start;
      OscillatorNode.prototype.start = function (when) {
        kept.push('tone');
        start.call(this, when);
      };
    }
  }, name === 'laptop');
  page.on('close', () => complaints.push(...own.map((text) => `${name}: ${text}`)));
  await page.goto(station.address + path);
  return page;
}

/** Waits until so many seconds after liftoff, by this machine's clock. */
async function until(after_s: number) {
  const wait = flewAt + after_s * 1000 - Date.now();
  if (wait > 0) await new Promise((done) => setTimeout(done, wait));
}

const sentence = (page: Page) => page.getByRole('heading', { level: 1 });
/** The first figure in a text, as a number. */
const figure = (text: string) => Number(/-?\d+(\.\d+)?/.exec(text.replace('−', '-'))?.[0]);

/** What a page has called out. */
const kept = (page: Page): Promise<string[]> => page.evaluate(() => (window as unknown as { kept: string[] }).kept);

async function picture(name: string) {
  for (const [size, page] of Object.entries(pages))
    await page.screenshot({ path: join(top, `tests/out/pictures/${name}-${size}.png`) });
}

test.beforeAll(async () => {
  radio = await Radio.start('tall-order', setup);
  station = await Station.start(setup, data);
});

test.afterAll(async () => {
  await station?.end();
  radio?.end();
  place.remove();
});

test('a page opens before anything is heard and says so', async ({ browser }) => {
  for (const [name, size] of Object.entries(sizes)) pages[name] = await open(browser, name, size);
  for (const page of Object.values(pages)) await expect(sentence(page)).not.toBeEmpty();
  await expect(pages.laptop!.getByText('Advice, not range safety.')).toBeVisible();
  await expect(pages.phone!.getByText('The range’s officers decide.')).toBeAttached();
});

test('a page whose script does not come says what to do', async ({ browser }) => {
  const page = await (await browser.newContext({ viewport: sizes.phone })).newPage();
  await page.route('**/*.js', (route) => route.fulfill({ status: 404, body: '' }));
  await page.goto(station.address);
  await expect(page.getByText('If this stays, reload the page')).toBeVisible();
  await page.screenshot({ path: join(top, 'tests/out/pictures/no-script-phone.png') });
  await page.unroute('**/*.js');
  await page.reload();
  await expect(sentence(page)).not.toBeEmpty();
  await expect(page.getByText('If this stays, reload the page')).toHaveCount(0);
  await page.context().close();
});

test('one press arms the call-outs, by voice or by tones', async () => {
  for (const page of [pages.laptop!, pages.phone!]) {
    const press = page.getByRole('button', { name: 'Call-outs' });
    await expect(press).toHaveAttribute('aria-pressed', 'false');
    await press.click();
    await expect(press).toHaveAttribute('aria-pressed', 'true');
  }
  // From here on the laptop keeps where its pen is drawn.
  await pages.laptop!.evaluate(() => {
    const canvas = document.querySelector<HTMLCanvasElement>('section[aria-label="Flight line"] canvas')!;
    const pens: { pen: string; t: string }[] = [];
    Object.assign(window, { pens });
    new MutationObserver(() => {
      if (canvas.dataset.pen) pens.push({ pen: canvas.dataset.pen, t: canvas.dataset.t ?? '' });
    }).observe(canvas, { attributes: true, attributeFilter: ['data-pen'] });
  });
  expect(await kept(pages.laptop!)).toEqual(['Call outs on']);
  expect(await kept(pages.phone!)).toEqual(['tone']);
  expect(await kept(pages.projector!)).toEqual([]);
});

test('on the pad the sentence counts the radios that are heard', async () => {
  const from = truth.liftoff_t_s - BEFORE_S;
  radio.play(from);
  flewAt = Date.now() + BEFORE_S * 1000;
  await until(-2);
  for (const page of Object.values(pages)) await expect(sentence(page)).toContainText('On the pad. 4 of 4 heard');
  await picture('pad');
});

test('under power it tells height, speed and lean', async () => {
  await until(1.2);
  await expect(sentence(pages.laptop!)).toContainText('Climbing under power');
  await expect(sentence(pages.phone!)).toContainText('m/s');
});

test('a cue into too much air is said before it is too late', async ({ request }) => {
  // Looked for from soon after burnout on: a cue that has passed leaves the message.
  await until(2.8);
  const said = async (): Promise<string[]> => {
    const now = await (await request.get(`${station.address}/api/now`)).json();
    return now.headsups.map((headsup: { words: string }) => headsup.words);
  };
  // The message is short: it keeps the heads-ups that matter most, chutes before cameras.
  const warns = expect.stringMatching(/(goes out|opens) in [\d.]+ s into .*m\/s of air\. Its limit is \d+ m\/s/);
  await expect.poll(said, { intervals: [100] }).toEqual(expect.arrayContaining([warns]));
  for (const page of Object.values(pages)) await expect(page.getByRole('status')).toContainText(/Look|Act/);
});

// Every place of the pen on the laptop's flight line so far, and the instant of the message that it was drawn by.
const pensDrawn = () =>
  pages.laptop!.evaluate(() => (window as unknown as { pens: { pen: string; t: string }[] }).pens);

test('the pen stands where the height says', async ({ request }) => {
  await until(3.4);
  const now = await (await request.get(`${station.address}/api/now`)).json();
  const [body] = now.bodies;
  const t = body.at_t_s - now.liftoff_t_s;
  await until(4);
  // A machine that is busy hears of it later: what was drawn before it did is no pen of this message.
  let pens: number[][] = [];
  const since = async () => {
    pens = (await pensDrawn()).filter((at) => Number(at.t) >= now.t_s).map(({ pen }) => pen.split(' ').map(Number));
    return pens.length;
  };
  await expect.poll(since, { intervals: [50], timeout: 4000 }).toBeGreaterThan(0);
  const nearest = pens.reduce((best, at) => (Math.abs(at[0]! - t) < Math.abs(best[0]! - t) ? at : best));
  // It climbs by some 70 m in a second: what is predicted of the next knots is farther off than this.
  expect(Math.abs(nearest[1]! - body.height_m.p50 - (nearest[0]! - t) * body.climb_mps.p50), `${nearest} of ${t}`).toBeLessThan(8);
});

test('in coast the sentence tells the apogee, in all three sizes', async () => {
  await until(5);
  for (const page of Object.values(pages)) await expect(sentence(page)).toContainText(/Apogee in \d/);
  await picture('coast');
});

test('the apogee predicted in coast is near the truth, with its interval', async ({ request }) => {
  const now = await (await request.get(`${station.address}/api/now`)).json();
  const apogee = now.bodies[0].apogee;
  const height = truth.bodies[0].apogee.height_m;
  expect(Math.abs(apogee.height_m.p50 - height)).toBeLessThan(0.1 * height);
  expect(apogee.height_m.p05).toBeLessThan(apogee.height_m.p50);
  expect(apogee.height_m.p50).toBeLessThan(apogee.height_m.p95);
  expect(Object.keys(now.bodies)).toHaveLength(4);
});

test('the pen glides between packets and makes no jump when one comes', async () => {
  await until(8);
  const drawn = await pensDrawn();
  const coasting = drawn
    .map(({ pen, t }) => ({ at: pen.split(' ').map(Number), message: t }))
    .filter(({ at }) => at[0]! > 3.5 && at[0]! < 8);
  expect(coasting.length).toBeGreaterThan(new Set(coasting.map(({ message }) => message)).size);
  let stands = 0;
  for (const [i, { at }] of coasting.entries()) {
    const before = coasting[i - 1]?.at;
    if (!before || at[0]! < before[0]!) continue;
    // Faster than 100 m/s nothing climbs here; two metres are three pixels.
    expect(Math.abs(at[1]! - before[1]!), `from ${before} to ${at}`).toBeLessThan(100 * (at[0]! - before[0]!) + 2);
    // Nor does it wait for packets: it climbs by 15 m/s at least until second 8.
    if (at[1]! - before[1]! < 3 * (at[0]! - before[0]!)) stands += 1;
  }
  expect(stands).toBeLessThan(0.02 * coasting.length);
});

test('the flight line is drawn and described in words', async () => {
  for (const page of Object.values(pages)) {
    const chart = page.locator('section[aria-label="Flight line"] [role="img"]');
    await expect(chart).toHaveAttribute('aria-label', /apogee|Apogee/);
    const inked = await page.locator('section[aria-label="Flight line"] canvas').first().evaluate((element) => {
      const canvas = element as HTMLCanvasElement;
      const pixels = canvas.getContext('2d')!.getImageData(0, 0, canvas.width, canvas.height).data;
      const kinds = new Set<number>();
      for (let i = 0; i < pixels.length; i += 4 * 37) kinds.add((pixels[i]! << 16) | (pixels[i + 1]! << 8) | pixels[i + 2]!);
      return kinds.size;
    });
    expect(inked).toBeGreaterThan(5);
  }
});

test('nothing is cut off: no page scrolls sideways', async () => {
  for (const page of Object.values(pages)) {
    const spare = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    expect(spare).toBeLessThanOrEqual(0);
  }
});

test('sentence, flight line and figures share the first screen of a phone', async () => {
  const box = await pages.phone!.locator('section[aria-label="Figures"]').boundingBox();
  expect(box!.y + box!.height).toBeLessThanOrEqual(sizes.phone.height);
});

test('feet and the night theme are one press away, and are kept', async () => {
  const page = pages.projector!;
  await page.getByRole('button', { name: /units/ }).click();
  await expect(sentence(page)).toContainText('ft');
  await page.getByRole('button', { name: /colours/ }).click();
  await expect(page.locator('html')).toHaveAttribute('data-theme', 'night');
  await page.reload();
  await expect(page.locator('html')).toHaveAttribute('data-theme', 'night');
  await expect(sentence(page)).toContainText('ft');
});

test('after apogee it tells how it comes down', async () => {
  await until(truth.bodies[0].apogee.t_s - truth.liftoff_t_s + 8);
  await expect(sentence(pages.laptop!)).toContainText(/Lands in \d+\ss/);
  await picture('descent');
});

test('silence is said within seconds, the state is carried, and nothing old looks current', async () => {
  radio.silence();
  await expect(sentence(pages.laptop!)).toContainText(/No radio for \d+\ss|silent/, { timeout: 8000 });
  await expect(pages.laptop!.locator('header')).toContainText('silent');
  await expect(pages.laptop!.locator('[data-age="old"]').first()).toBeVisible();
  await picture('silence');
  radio.play(truth.liftoff_t_s + (Date.now() - flewAt) / 1000);
  await expect(pages.laptop!.locator('header')).toContainText('live');
});

test('a station killed in flight comes back with the whole flight, and the pages without a reload', async () => {
  const address = new URL(station.address).host;
  station.kill();
  await expect(pages.laptop!.locator('header')).toContainText('no station', { timeout: 6000 });
  await expect(sentence(pages.laptop!)).toContainText(/^No station for \d+\ss\. /);
  station = await Station.start(setup, data, address);
  await expect(pages.laptop!.locator('header')).toContainText('live', { timeout: 20_000 });
  await expect(pages.phone!.locator('header')).toContainText('live', { timeout: 20_000 });
  const now = await (await pages.laptop!.request.get(`${station.address}/api/now`)).json();
  expect(now.flight).toBe(1);
  expect(now.liftoff_t_s).not.toBeNull();
});

test('on the ground it says where each piece lies and sends nobody', async () => {
  await until(truth.bodies[0].landing.t_s - truth.liftoff_t_s + 14);
  await expect(sentence(pages.laptop!)).toContainText(/Down, \d+\sm from the pad at \d{3}°\strue, \d{3}°\sby\scompass/, {
    timeout: 40_000,
  });
  const error = Math.abs(
    figure(((await sentence(pages.laptop!).textContent()) ?? '').replace('Down, ', '')) -
      Math.hypot(truth.bodies[0].landing.east_m, truth.bodies[0].landing.north_m),
  );
  expect(error).toBeLessThan(60);
  await expect(pages.laptop!.getByRole('status').first()).toContainText('not confirmed fired: treat as live.');
  await expect(pages.laptop!.locator('main')).toContainText('The range opens when its officer says so');
  await picture('down');
});

test('the flight was called out once, in order, with its warnings', async () => {
  const said = await kept(pages.laptop!);
  const at = (words: RegExp) => said.findIndex((text) => words.test(text));
  expect(at(/^Liftoff$/)).toBeGreaterThan(0);
  expect(at(/metres per second of air\.$/)).toBeGreaterThan(at(/^Liftoff$/));
  expect(at(/^Apogee in \d+ seconds at \d+ metres/)).toBeGreaterThan(at(/^Liftoff$/));
  expect(at(/^Lands in \d+ seconds, \d+ metres north east of the pad$/)).toBeGreaterThan(at(/^Apogee in/));
  expect(at(/^Body down$/)).toBeGreaterThan(at(/^Lands in/));
  expect(said.some((text) => /^\d+ metres$/.test(text)), 'height steps were not asked for').toBe(false);
  expect(new Set(said).size, 'each once').toBe(said.length);
  expect((await kept(pages.phone!)).length).toBeGreaterThan(8);
  expect(await kept(pages.projector!)).toEqual([]);
});

test('each piece has bearings, a place to hand on and the charges that may be live', async () => {
  const page = pages.laptop!;
  const pieces = page.getByRole('region', { name: 'Where each piece lies' }).getByRole('listitem');
  // What is still in the air when the vehicle is down stands there too, as not known to be down.
  await expect(pieces).toHaveCount(4, { timeout: 40_000 });
  await expect(pieces.filter({ hasText: 'Not known to be down' })).toHaveCount(0, { timeout: 40_000 });
  const body = pieces.filter({ has: page.getByRole('heading', { name: /\d\. Body/ }) });
  // At the site of the demo a compass points about twelve degrees east of true north (WMM2025).
  const [, truly, compass] = /(\d{3})° true, (\d{3})° by compass/.exec((await body.textContent()) ?? '')!.map(Number);
  expect((truly! - compass! + 360) % 360).toBeGreaterThan(10);
  expect((truly! - compass! + 360) % 360).toBeLessThan(14);
  await expect(body).toContainText(/Last fix \d+ s old, give or take \d+ m\./);
  // Its radio says that drogue and main fired; of the cameras it says only that they were let go.
  await expect(body).toContainText('Treat as live, not confirmed fired: Cam A out (commanded only)');
  await expect(body).not.toContainText('drogue');
  await expect(body.getByRole('link')).toHaveAttribute('href', /^geo:38\.\d{6},-117\.\d{6}$/);
  const code = body.getByRole('img', { name: 'QR code of Body’s place' });
  await expect.poll(() => code.evaluate((image: HTMLImageElement) => image.naturalWidth)).toBeGreaterThan(0);
  await expect(page.locator('main')).toContainText(/By compass: WMM2025 for \d{4}-\d\d-\d\d, declination 1\d\.\d° east/);
});

test('where this device is stands on the plan and beside each piece, once a person asks for it', async () => {
  const page = pages.phone!;
  await page.context().grantPermissions(['geolocation']);
  await page.context().setGeolocation({ latitude: 38.2509, longitude: -117.35, accuracy: 12 });
  await expect(page.locator('main')).not.toContainText('From you');
  await page.getByRole('button', { name: 'Show me' }).click();
  await expect(page.getByRole('listitem').first()).toContainText(/From you \d+ m (north-)?east/);
  await expect(page.locator('section[aria-label="Ground"] svg[role="img"]')).toHaveAttribute('aria-label', /You are 100 m north of the pad/);
  await page.getByRole('button', { name: 'Show me' }).click();
  await expect(page.locator('main')).not.toContainText('From you');
});

test('Watch has no accessibility problem that axe knows, and contrast of 7 to 1 in both themes', async () => {
  for (const page of [pages.laptop!, pages.phone!, pages.projector!])
    expect(await problems(page, 'wcag2aaa')).toEqual([]);
  // The colour of the flight line's paper, red, green and blue.
  const paper = () =>
    pages.laptop!.evaluate(() => {
      const canvas = document.querySelector<HTMLCanvasElement>('section[aria-label="Flight line"] canvas')!;
      return [...canvas.getContext('2d')!.getImageData(canvas.width - 3, 3, 1, 1).data.slice(0, 3)];
    });
  expect(Math.min(...(await paper()))).toBeGreaterThan(200);
  await pages.laptop!.getByRole('button', { name: /colours/ }).click();
  expect(await problems(pages.laptop!, 'wcag2aaa')).toEqual([]);
  expect(Math.max(...(await paper()))).toBeLessThan(60);
  await pages.laptop!.getByRole('button', { name: /colours/ }).click();
});

test('at twice the size nothing is lost: no sideways scrolling, and all that can be read can be reached', async ({ browser }) => {
  // A laptop's window at 200 % has half as many pixels of twice the size.
  const { width, height } = sizes.laptop;
  const context = await browser.newContext({ viewport: { width: width / 2, height: height / 2 }, deviceScaleFactor: 2 });
  const page = await context.newPage();
  await page.goto(station.address);
  await expect(sentence(page)).toContainText('Down');
  const spare = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  expect(spare).toBeLessThanOrEqual(0);
  for (const name of ['Flight line', 'Figures', 'Ground', 'Where each piece lies']) {
    const part = page.locator(`section[aria-label="${name}"]`);
    await part.scrollIntoViewIfNeeded();
    const box = (await part.boundingBox())!;
    expect(box.x, name).toBeGreaterThanOrEqual(0);
    expect(box.x + box.width, name).toBeLessThanOrEqual(width / 2 + 0.5);
    expect(box.height, name).toBeGreaterThan(40);
  }
  await page.screenshot({ path: join(top, 'tests/out/pictures/zoomed-laptop.png'), fullPage: true });
  await context.close();
});

test('touch targets of Watch are 48 pixels high, or a line of text', async () => {
  for (const page of [pages.phone!, pages.laptop!]) {
    const small = await page.evaluate(() =>
      [...document.querySelectorAll<HTMLElement>('button, a[href], input')]
        .filter((element) => element.checkVisibility() && !element.classList.contains('skip'))
        .map((element) => ({ name: element.getAttribute('aria-label') ?? element.textContent, box: element.getBoundingClientRect() }))
        .filter(({ box }) => box.height < 47.5 || box.width < 47.5)
        .map(({ name, box }) => `${name?.trim()}: ${box.width} x ${box.height}`),
    );
    expect(small).toEqual([]);
  }
});

test('the list of flights names this one with its apogee', async () => {
  const page = pages.laptop!;
  await page.getByRole('link', { name: 'Flights' }).click();
  const row = page.locator('main li').first();
  await expect(row).toContainText(/\d+ m/);
  expect(Math.abs(figure((await row.locator('.figures').textContent()) ?? '') - truth.bodies[0].apogee.height_m)).toBeLessThan(20);
  expect(await problems(page)).toEqual([]);
});

test('a replay says that it is one, plays, pauses and changes its rate', async () => {
  const page = pages.laptop!;
  await page.locator('main li').first().getByRole('link').first().click();
  await expect(page.getByText(/Replay of \d\d:\d\d/)).toBeVisible();
  const before = (await kept(page)).length;
  await page.getByRole('button', { name: '10×' }).click();
  await expect(sentence(page)).toContainText(/Apogee in|Climbing|Under|Lands/, { timeout: 20_000 });
  await page.getByRole('button', { name: 'Pause' }).click();
  await expect(page.getByRole('button', { name: 'Play', exact: true })).toBeVisible();
  // Figures step at most four times a second: the last step is let through.
  await new Promise((done) => setTimeout(done, 500));
  const first = await sentence(page).textContent();
  await new Promise((done) => setTimeout(done, 1500));
  expect(await sentence(page).textContent()).toBe(first);
  expect(await kept(page), 'a replay is silent').toHaveLength(before);
});

test('a seek shows what was known then, not what came later', async () => {
  const page = pages.laptop!;
  const slider = page.getByRole('slider', { name: 'Time' });
  const from = Number(await slider.getAttribute('min'));
  await slider.evaluate((element, value) => {
    (element as HTMLInputElement).value = String(value);
    element.dispatchEvent(new Event('input', { bubbles: true }));
    element.dispatchEvent(new Event('change', { bubbles: true }));
  }, from + 5 + 5);
  await expect(sentence(page)).toContainText(/Apogee in \d/);
  await picture('replay');
  expect(await problems(page)).toEqual([]);
});

test('the keyboard reaches everything that can be pressed', async () => {
  const page = pages.laptop!;
  const reached = new Set<string>();
  for (let press = 0; press < 60; press += 1) {
    await page.keyboard.press('Tab');
    reached.add(await page.evaluate(() => document.activeElement?.textContent?.trim() || document.activeElement?.getAttribute('aria-label') || ''));
  }
  for (const name of ['Watch', 'Flights', 'Play', 'Time', 'Audits', 'Hand out']) expect([...reached]).toContain(name);
});

test('readings and estimates come as tables with units', async ({ request }) => {
  for (const [name, column] of [['readings', 'pressure'], ['estimates', 'height']] as const) {
    const answer = await request.get(`${station.address}/api/flights/1/${name}.csv`);
    expect(answer.headers()['content-type']).toContain('text/csv');
    const lines = (await answer.text()).trim().split(/\r\n/);
    expect(lines[0]).toContain(column);
    expect(lines.length).toBeGreaterThan(500);
  }
});

test('what does not exist is told in a sentence', async ({ request }) => {
  const answer = await request.get(`${station.address}/api/flights/99`);
  expect(answer.status()).toBe(404);
  expect((await answer.json()).error).toContain('99');
  await pages.phone!.goto(`${station.address}/nowhere`);
  await expect(pages.phone!.getByRole('heading')).toContainText('There is no such page');
});

test('a strange host or origin gets nothing', async ({ request }) => {
  const host = await request.get(`${station.address}/api/now`, { headers: { host: 'elsewhere.example' } });
  expect(host.status()).toBeGreaterThanOrEqual(400);
  const act = await request.post(`${station.address}/api/act`, {
    headers: { origin: 'http://elsewhere.example' },
    data: { kind: 'name', name: 'x' },
  });
  expect(act.status()).toBeGreaterThanOrEqual(400);
});

test('the pages carry a policy without inline script and ask nobody else', async ({ request }) => {
  const answer = await request.get(station.address);
  const policy = answer.headers()['content-security-policy'] ?? '';
  expect(policy).toContain("default-src 'self'");
  expect(policy).not.toContain("script-src 'unsafe-inline'");
  for (const page of Object.values(pages)) await page.close();
  const unexpected = complaints.filter(
    (text) => !/WebSocket|ERR_CONNECTION|status of 404|Failed to fetch/.test(text),
  );
  expect(unexpected).toEqual([]);
});
