// What it costs to see a flight again: opening a flight of ten minutes of four bodies at twenty packets a second, seeking
// anywhere in it, how closely four pages keep in step through a show, and rendering an overlay of a minute at 1080p30.
// Printed and kept, nothing is asserted.
import { execFileSync } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test, type Page } from '@playwright/test';
import { Station, folder, sizes, top } from '../harness.ts';

test.setTimeout(30 * 60_000);

const lines: string[] = [];
const tell = (what: string, value: string) => {
  lines.push(`| ${what} | ${value} |`);
  console.log(`${what}: ${value}`);
};
const sorted = (all: number[]) => [...all].sort((a, b) => a - b);
const middle = (all: number[]) => sorted(all)[all.length >> 1] ?? NaN;
const most = (all: number[]) => sorted(all).at(-1) ?? NaN;

/** Where a page's pen was last drawn: s since liftoff, and this machine's milliseconds. */
const pen = (page: Page) =>
  page.evaluate(() => {
    const { pen, at } = document.querySelector<HTMLCanvasElement>('section[aria-label="Flight line"] canvas')!.dataset;
    return [Number(pen?.split(' ')[0]), Number(at)] as const;
  });

test('what it costs to see a flight again', async ({ browser, request }) => {
  const place = folder(true);
  const [flight, data] = [join(place.path, 'flight'), join(place.path, 'data')];
  execFileSync(join(top, 'tests/.venv/bin/python'), ['-m', 'sim.long', flight], { cwd: join(top, 'tests') });
  const store = [join(top, 'tests/faults/stored.py'), process.env.LOFTWATCH!, data];
  execFileSync('python3', [...store, join(flight, 'setup.toml'), join(flight, 'flight.jsonl')]);
  const station = await Station.start(join(flight, 'setup.toml'), data);
  const detail = await (await request.get(`${station.address}/api/flights/1`)).json();
  tell('the long flight, from liftoff to landing', `${detail.duration_s.toFixed(0)} s`);

  // From the press in the list to the first drawn line with all of its past, and a sentence.
  const opened: number[] = [];
  for (let round = 0; round < 7; round += 1) {
    const page = await (await browser.newContext({ viewport: sizes.laptop, serviceWorkers: 'block' })).newPage();
    await page.goto(`${station.address}/flights`);
    await page.getByRole('link', { name: /Long Way Down/ }).waitFor();
    const took = await page.evaluate(async () => {
      const track = new Promise<void>((got) => {
        new PerformanceObserver((list) => {
          if (list.getEntriesByName(`${location.origin}/api/flights/1/track?most=1200`).length) got();
        }).observe({ type: 'resource' });
      });
      const begun = performance.now();
      document.querySelector<HTMLAnchorElement>('a[href="/flights/1"]')!.click();
      await track;
      const drawn = () => document.querySelector<HTMLCanvasElement>('section[aria-label="Flight line"] canvas')?.dataset.pen;
      const said = () => document.querySelector('h1')?.textContent ?? '';
      while (!drawn() || said().startsWith('Waiting')) await new Promise((next) => requestAnimationFrame(next));
      await new Promise((next) => requestAnimationFrame(next));
      return performance.now() - begun;
    });
    opened.push(took);
    await page.context().close();
  }
  tell('opening it, from the press to the drawn line, median and worst of 7', `${middle(opened).toFixed(0)} ms, ${most(opened).toFixed(0)} ms`);

  // A seek over its own socket: asked, and answered with the message of that instant.
  const page = await (await browser.newContext({ viewport: sizes.laptop })).newPage();
  await page.goto(`${station.address}/flights/1`);
  const seeks = await page.evaluate(
    async ([from, to]) => {
      const socket = new WebSocket(`ws://${location.host}/api/flights/1/socket`);
      await new Promise((open) => (socket.onopen = open));
      const took: number[] = [];
      let seed = 7;
      for (let i = 0; i < 60; i += 1) {
        seed = (seed * 48271) % 0x7fffffff;
        const t_s = Math.round((from + ((to - from) * seed) / 0x7fffffff) * 1000) / 1000;
        const begun = performance.now();
        const all = new Promise<void>((got) => {
          const seen = new Set<string>();
          socket.onmessage = (event) => {
            const message = JSON.parse(event.data as string);
            if (message.kind === 'now' && Math.abs(message.t_s - t_s) > 0.002) return;
            seen.add(message.kind);
            if (seen.has('now') && seen.has('picture') && seen.has('story')) got();
          };
        });
        socket.send(JSON.stringify({ kind: 'seek', t_s }));
        await all;
        took.push(performance.now() - begun);
        await new Promise((rest) => setTimeout(rest, 30));
      }
      socket.close();
      return took;
    },
    [detail.liftoff_s, detail.to_s],
  );
  tell('a seek anywhere in it, all three messages, median and worst of 60', `${middle(seeks).toFixed(0)} ms, ${most(seeks).toFixed(0)} ms`);
  await page.context().close();

  // A show.
  const driver = await (await browser.newContext({ viewport: sizes.laptop })).newPage();
  await driver.goto(`${station.address}/flights/1`);
  await driver.getByRole('button', { name: 'Show to all' }).click();
  await driver.getByRole('button', { name: 'Drive' }).click();
  const followers: Page[] = [];
  for (const size of [sizes.projector, sizes.laptop, sizes.phone]) {
    const follower = await (await browser.newContext({ viewport: size })).newPage();
    await follower.goto(`${station.address}/show`);
    followers.push(follower);
  }
  await driver.waitForTimeout(3000);
  for (const rate of [0.1, 1, 5, 20]) {
    await driver.locator('.jumps').getByRole('button', { name: /liftoff/ }).click();
    await driver.getByRole('button', { name: `${rate}×`, exact: true }).click();
    const play = driver.getByRole('button', { name: 'Play', exact: true });
    if (await play.isVisible()) await play.click();
    await driver.waitForTimeout(1500);
    const apart: number[] = [];
    for (let i = 0; i < 20; i += 1) {
      const all = await Promise.all([...followers, driver].map(pen));
      const last = Math.max(...all.map(([, at]) => at));
      const now = all.map(([t, at]) => t + ((last - at) / 1000) * rate);
      apart.push(((Math.max(...now) - Math.min(...now)) / rate) * 1000);
      await driver.waitForTimeout(150);
    }
    tell(`four pages of a show at ${rate}x, apart in real time, median and worst of 20`, `${middle(apart).toFixed(1)} ms, ${most(apart).toFixed(1)} ms`);
  }
  for (const each of [...followers, driver]) await each.context().close();

  // An overlay.
  const film = await (await browser.newContext({ viewport: sizes.laptop })).newPage();
  await film.goto(`${station.address}/flights/1`);
  await film.getByRole('button', { name: 'Pause', exact: true }).click();
  await film.getByRole('button', { name: 'For the film' }).click();
  await film.getByLabel('From, s after liftoff').fill('-2');
  await film.getByLabel('To', { exact: true }).fill('58');
  await film.getByRole('button', { name: 'Render the overlay' }).click();
  const said = film.getByText(/1800 frames in/);
  await expect(said).toBeVisible({ timeout: 20 * 60_000 });
  tell('an overlay of 60 s at 1080p30', (await said.textContent())!.trim().replace(/ Save.*/, ''));
  await film.context().close();

  await station.end();
  place.remove();
  mkdirSync(join(top, 'tests/out'), { recursive: true });
  writeFileSync(join(top, 'tests/out/show.md'), `| what | value |\n|---|---|\n${lines.join('\n')}\n`);
});
