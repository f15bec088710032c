// From the last byte of a frame, written into a pseudo-terminal, to the picture drawn from it: stored and estimated on
// the way. The canvas carries the station time of the message it was drawn from; a frame is drawn when that has moved
// past what it was before the write. Both clocks are this machine's.
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { test } from '@playwright/test';
import { Radio, Station, folder, sizes, top } from '../harness.ts';

const quantile = (sorted: number[], q: number) => sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))]!;

test('last byte to pixel', async ({ browser }) => {
  const place = folder();
  const setup = join(place.path, 'setup.toml');
  const radio = await Radio.start('straight', setup);
  const station = await Station.start(setup, join(place.path, 'data'));
  const page = await (await browser.newContext({ viewport: sizes.laptop })).newPage();
  await page.goto(station.address);
  await page.evaluate(() => {
    const drawn: [string, number][] = [];
    Object.assign(window, { drawn });
    const watch = () => {
      const canvas = document.querySelector<HTMLCanvasElement>('section[aria-label="Flight line"] canvas');
      if (!canvas) return requestAnimationFrame(watch);
      let last = '';
      new MutationObserver(() => {
        const t = canvas.dataset.t ?? '';
        if (t !== last) {
          last = t;
          // After the frame that shows it has been handed over.
          requestAnimationFrame(() => setTimeout(() => drawn.push([t, Date.now()]), 0));
        }
      }).observe(canvas, { attributes: true });
    };
    watch();
  });
  const lines = readFileSync(join(top, 'demo-data/straight/flight.jsonl'), 'utf8').trim().split('\n').map((l) => JSON.parse(l));
  const truth = JSON.parse(readFileSync(join(top, 'demo-data/straight/truth.json'), 'utf8'));
  const from = lines[0].t_receive + truth.liftoff_t_s - 4;
  const flown = lines.filter((l) => l.t_receive >= from && l.t_receive <= from + 24);
  const waits: number[] = [];
  const started = Date.now();
  const wrote: number[] = [];
  for (const l of flown) {
    const due = started + (l.t_receive - from) * 1000;
    const wait = due - Date.now();
    if (wait > 0) await new Promise((done) => setTimeout(done, wait));
    wrote.push(await radio.write(l.link, Buffer.from(l.bytes, 'base64')));
  }
  await new Promise((done) => setTimeout(done, 1000));
  const drawn = await page.evaluate(() => (window as unknown as { drawn: [string, number][] }).drawn);
  let next = 0;
  for (let i = 0; i < wrote.length - 1; i += 1) {
    while (next < drawn.length && drawn[next]![1] < wrote[i]!) next += 1;
    if (next < drawn.length && drawn[next]![1] < wrote[i + 1]! + 50) waits.push(drawn[next]![1] - wrote[i]!);
  }
  waits.sort((a, b) => a - b);
  const text =
    `Last byte of a frame to the drawn picture, ${waits.length} of ${wrote.length} frames: ` +
    `median ${quantile(waits, 0.5).toFixed(1)} ms, 99th percentile ${quantile(waits, 0.99).toFixed(1)} ms, ` +
    `greatest ${waits.at(-1)!.toFixed(1)} ms.`;
  console.log(text);
  mkdirSync(join(top, 'tests/out'), { recursive: true });
  writeFileSync(join(top, 'tests/out/latency.md'), text + '\n');
  await station.end();
  radio.end();
  place.remove();
});
