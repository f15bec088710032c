// What the page costs: cold load on a slow phone and network to a readable sentence, size of the scripts, frames and redraw
// with ten minutes of flight on the chart at twenty-five messages a second, the memory over some minutes of watching, and
// how soon a silent network is told. Printed and kept, nothing is asserted.
import { gzipSync } from 'node:zlib';
import { mkdirSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from '@playwright/test';
import { Radio, Station, folder, sizes, top } from '../harness.ts';

/** How long memory is watched, minutes. */
const MINUTES = Number(process.env.LOFTWATCH_MINUTES ?? 4);
test.setTimeout((MINUTES + 6) * 60_000);

const quantile = (all: number[], q: number) => {
  const sorted = [...all].sort((a, b) => a - b);
  return sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))] ?? NaN;
};
const lines: string[] = [];
const tell = (what: string, value: string) => lines.push(`| ${what} | ${value} |`);

test('what the page costs', async ({ browser }) => {
  const place = folder(true);
  const setup = join(place.path, 'setup.toml');
  const radio = await Radio.start('tall-order', setup);
  const station = await Station.start(setup, join(place.path, 'data'));
  radio.play(0);

  // Scripts before the map is asked for.
  const worker = readFileSync(join(top, 'web/dist/worker.js'), 'utf8');
  const assets = join(top, 'web/dist/assets');
  const scripts = readdirSync(assets).filter((name) => name.endsWith('.js') && worker.includes(name));
  const bytes = scripts.map((name) => gzipSync(readFileSync(join(assets, name))).length).reduce((a, b) => a + b, 0);
  tell('script before the map is asked for', `${(bytes / 1000).toFixed(1)} kB gzip`);

  // Cold load: a processor four times slower, 1.6 Mbit/s down, 0.75 up, 150 ms there and back.
  for (const round of [1, 2, 3]) {
    const context = await browser.newContext({ viewport: sizes.phone, serviceWorkers: 'block' });
    const page = await context.newPage();
    const devtools = await context.newCDPSession(page);
    await devtools.send('Network.enable');
    await devtools.send('Network.emulateNetworkConditions', {
      offline: false,
      latency: 150,
      downloadThroughput: (1.6e6 / 8) * 0.9,
      uploadThroughput: (0.75e6 / 8) * 0.9,
    });
    await devtools.send('Emulation.setCPUThrottlingRate', { rate: 4 });
    await page.addInitScript(() => {
      const look = () => {
        const words = document.querySelector('h1')?.textContent ?? '';
        if (words && !words.startsWith('Waiting')) Object.assign(window, { readableMs: performance.now() });
        else requestAnimationFrame(look);
      };
      requestAnimationFrame(look);
    });
    await page.goto(station.address);
    await page.waitForFunction(() => 'readableMs' in window, undefined, { timeout: 60_000 });
    const ms = await page.evaluate(() => (window as unknown as { readableMs: number }).readableMs);
    tell(`cold load to a readable sentence, 4x slower processor, fast 3G, round ${round}`, `${(ms / 1000).toFixed(2)} s`);
    await context.close();
  }

  // Ten minutes of flight on the chart: the station's own past, moved back and filled up.
  const context = await browser.newContext({ viewport: sizes.laptop, serviceWorkers: 'block' });
  const page = await context.newPage();
  await page.addInitScript(() => {
    const Plain = window.WebSocket;
    // The flight is told to have begun ten minutes ago.
    class Earlier extends Plain {
      override set onmessage(take: ((event: MessageEvent) => void) | null) {
        super.onmessage = take && ((event: MessageEvent) => {
          const message = JSON.parse(event.data as string);
          if (message.kind === 'now') {
            message.liftoff_t_s = message.t_s - 600;
            message.bodies[0].phase = 'descending';
          }
          take(new MessageEvent('message', { data: JSON.stringify(message) }));
        });
      }
    }
    window.WebSocket = Earlier;
    const measured = { longMs: [] as number[], frameMs: [] as number[] };
    Object.assign(window, { measured });
    let last = performance.now();
    const frame = () => {
      const now = performance.now();
      measured.frameMs.push(now - last);
      last = now;
      requestAnimationFrame(frame);
    };
    requestAnimationFrame(frame);
    new PerformanceObserver((list) => list.getEntries().forEach((entry) => measured.longMs.push(entry.duration))).observe({ entryTypes: ['longtask'] });
  });
  await page.route(/\/api\/flights\/current\/track/, async (route) => {
    const now = await (await page.request.get(`${station.address}/api/now`)).json();
    const t_s = Array.from({ length: 12_000 }, (_, i) => now.t_s - 600 + i * 0.05);
    const of = (f: (i: number) => number) => t_s.map((_, i) => f(i));
    const body = {
      body: 0,
      t_s,
      height_m: of((i) => 3000 * Math.sin((Math.PI * i) / 12_000) + 5 * Math.sin(i / 9)),
      climb_mps: of((i) => 16 * Math.cos((Math.PI * i) / 12_000)),
      airspeed_mps: of((i) => 20 + 3 * Math.sin(i / 50)),
      east_m: of((i) => i / 20),
      north_m: of((i) => i / 30),
    };
    await route.fulfill({ json: { bodies: [body] } });
  });
  await page.goto(station.address);
  await expect(page.locator('section[aria-label="Flight line"] canvas')).toBeVisible();
  await page.waitForTimeout(4000);
  const devtools = await context.newCDPSession(page);
  await devtools.send('Performance.enable');
  const task = async (): Promise<number> => {
    const { metrics } = await devtools.send('Performance.getMetrics');
    return metrics.find(({ name }) => name === 'ScriptDuration')?.value ?? NaN;
  };
  const measured = (anew: boolean) =>
    page.evaluate((anew) => {
      const { measured } = window as unknown as { measured: { longMs: number[]; frameMs: number[] } };
      return anew ? { longMs: measured.longMs.splice(0), frameMs: measured.frameMs.splice(0) } : measured;
    }, anew);
  await measured(true);
  const script = await task();
  const draws = await page.evaluate(async () => {
    const canvas = document.querySelector<HTMLCanvasElement>('section[aria-label="Flight line"] canvas')!;
    let count = 0;
    const watch = new MutationObserver(() => (count += 1));
    watch.observe(canvas, { attributes: true, attributeFilter: ['data-pen'] });
    await new Promise((done) => setTimeout(done, 10_000));
    watch.disconnect();
    return count;
  });
  const spent = (await task()) - script;
  const { longMs, frameMs } = await measured(false);
  tell('with ten minutes on the chart: redraws a second', (draws / 10).toFixed(1));
  tell('all script a redraw', `${((1000 * spent) / draws).toFixed(2)} ms`);
  tell('all script a second', `${(100 * spent).toFixed(0)} ms`);
  tell('tasks longer than 50 ms in ten seconds', longMs.length.toString());
  tell('time between frames, median and 99 %', `${quantile(frameMs, 0.5).toFixed(1)} and ${quantile(frameMs, 0.99).toFixed(1)} ms`);
  await context.close();

  // Memory, after the collector has run.
  const watched = await (await browser.newContext({ viewport: sizes.laptop, serviceWorkers: 'block' })).newPage();
  await watched.goto(station.address);
  const heap = await watched.context().newCDPSession(watched);
  const size = async (): Promise<number> => {
    await heap.send('HeapProfiler.collectGarbage');
    return (await heap.send('Runtime.getHeapUsage')).usedSize / 1e6;
  };
  await watched.waitForTimeout(20_000);
  const first = await size();
  await watched.waitForTimeout(MINUTES * 60_000);
  const last = await size();
  tell(`memory of the script after 20 s, and ${MINUTES} min later`, `${first.toFixed(2)} and ${last.toFixed(2)} MB`);

  // A network that carries nothing any more.
  station.hold();
  const held = Date.now();
  await expect(watched.locator('header')).toContainText('no station', { timeout: 20_000 });
  tell('a silent network is told after', `${((Date.now() - held) / 1000).toFixed(2)} s`);
  station.release();
  const released = Date.now();
  await expect(watched.locator('header')).not.toContainText('no station', { timeout: 20_000 });
  tell('and the page is current again after', `${((Date.now() - released) / 1000).toFixed(2)} s`);

  await station.end();
  radio.end();
  place.remove();
  const table = ['| what | figure |', '|---|---|', ...lines].join('\n');
  mkdirSync(join(top, 'tests/out'), { recursive: true });
  writeFileSync(join(top, 'tests/out/page.md'), table + '\n');
  console.log(table);
});
