// From the last byte of a frame, written into a pseudo-terminal, to the picture drawn from it: stored and estimated on
// the way. A frame's own message is the first that has heard something as new as it; which frames were good the stored
// readings tell afterwards. Every stretch is printed: byte read, kept, computed, message made, arrived, painted, shown.
// All clocks are this machine's.
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from '@playwright/test';
import { Radio, Station, folder, sizes, top } from '../harness.ts';

/** A message as the page got it: station time and UTC when it was made, newest frame heard (all s), arrival (UTC ms). */
interface Arrived {
  t_s: number;
  utc_s: number;
  heard_s: number;
  atMs: number;
}
/** A message on the canvas: when painting was done and when the frame that shows it had been handed over, UTC ms. */
interface Drawn {
  t_s: number;
  paintedMs: number;
  shownMs: number;
}
interface Seen {
  arrived: Arrived[];
  drawn: Drawn[];
}

const quantile = (all: number[], q: number) => {
  const sorted = [...all].sort((a, b) => a - b);
  return sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))]!;
};
const row = (name: string, all: number[]) =>
  `| ${name} | ${[0.5, 0.9, 0.99, 1].map((q) => quantile(all, q).toFixed(1)).join(' | ')} |`;

test('last byte to pixel', async ({ browser }) => {
  const place = folder();
  const setup = join(place.path, 'setup.toml');
  const radio = await Radio.start('straight', setup);
  const station = await Station.start(setup, join(place.path, 'data'), '127.0.0.1:0', { LOFTWATCH_LOG: 'info,way=trace' });
  const page = await (await browser.newContext({ viewport: sizes.laptop })).newPage();
  await page.addInitScript(() => {
    const arrived: Arrived[] = [];
    const drawn: Drawn[] = [];
    Object.assign(window, { arrived, drawn });
    const utcMs = () => performance.timeOrigin + performance.now();
    const Plain = window.WebSocket;
    class Watched extends Plain {
      constructor(address: string | URL, protocols?: string | string[]) {
        super(address, protocols);
        this.addEventListener('message', (event) => {
          const atMs = utcMs();
          const message = JSON.parse(event.data as string);
          if (message.kind !== 'now') return;
          const heard_s = Math.max(...message.bodies.map((body: { heard_t_s: number | null }) => body.heard_t_s ?? 0));
          arrived.push({ t_s: message.t_s, utc_s: message.utc_s, heard_s, atMs });
        });
      }
    }
    window.WebSocket = Watched;
    const watch = () => {
      const canvas = document.querySelector<HTMLCanvasElement>('section[aria-label="Flight line"] canvas');
      if (!canvas) return requestAnimationFrame(watch);
      let last = '';
      new MutationObserver(() => {
        const t = canvas.dataset.t ?? '';
        if (t === last) return;
        last = t;
        const paintedMs = utcMs();
        // After the frame that shows it has been handed over.
        requestAnimationFrame(() => setTimeout(() => drawn.push({ t_s: Number(t), paintedMs, shownMs: utcMs() }), 0));
      }).observe(canvas, { attributes: true });
    };
    document.addEventListener('DOMContentLoaded', watch);
  });
  await page.goto(station.address);
  await expect(page.locator('section[aria-label="Flight line"] canvas')).toBeVisible();
  await new Promise((done) => setTimeout(done, 1500));

  const lines = readFileSync(join(top, 'demo-data/straight/flight.jsonl'), 'utf8').trim().split('\n').map((l) => JSON.parse(l));
  const truth = JSON.parse(readFileSync(join(top, 'demo-data/straight/truth.json'), 'utf8'));
  const from = lines[0].t_receive + truth.liftoff_t_s - 4;
  const flown = lines.filter((l) => l.t_receive >= from && l.t_receive <= from + 34);
  const started = Date.now();
  const wrote: number[] = [];
  for (const l of flown) {
    const wait = started + (l.t_receive - from) * 1000 - Date.now();
    if (wait > 0) await new Promise((done) => setTimeout(done, wait));
    wrote.push(await radio.write(l.link, Buffer.from(l.bytes, 'base64')));
  }
  await new Promise((done) => setTimeout(done, 1500));
  const { arrived, drawn } = await page.evaluate(() => {
    const { arrived, drawn } = window as unknown as Seen;
    return { arrived, drawn };
  });
  const table = await (await fetch(`${station.address}/api/flights/1/readings.csv`)).text();
  const [head, ...rows] = table.trim().split('\n').map((line) => line.split(','));
  const at = head!.indexOf('station_time_received_s');
  const read_s = [...new Set(rows.map((cells) => Number(cells[at])))].sort((a, b) => a - b);

  const offset_s = quantile(arrived.map((m) => m.utc_s - m.t_s), 0.5);
  const way = new Map<number, Record<string, number>>();
  for (const text of station.said.filter((line) => line.includes('kept_us='))) {
    const field = (name: string) => Number(new RegExp(`${name}=(\\d+)`).exec(text.replace(/\x1b\[[0-9;]*m/g, ''))?.[1]);
    const stretch = Object.fromEntries(['kept_us', 'step_us', 'advance_us', 'told_us'].map((n) => [n, field(n) / 1000]));
    way.set(Math.round(field('t_ns') / 1e6), stretch);
  }
  const parts: Record<string, number[]> = { 'byte read': [], 'waited and kept': [], computed: [], 'message made': [], 'arrived in the page': [], painted: [], 'shown (next frame)': [] };
  const painted: number[] = [];
  const shown: number[] = [];
  const slow: string[] = [];
  for (const t_s of read_s) {
    const utcMs = (t_s + offset_s) * 1000;
    const wroteMs = wrote.findLast((w) => w < utcMs + 3);
    const message = arrived.find((m) => m.heard_s > t_s - 0.0006);
    const picture = message && drawn.find((d) => d.t_s >= message.t_s);
    if (wroteMs === undefined || !message || !picture || t_s < read_s[0]! + 0.5) continue;
    // Written after the read was stamped: the writer's own clock call came late.
    const steps = way.get(Math.round(t_s * 1000));
    const made = message.utc_s * 1000;
    parts['byte read']!.push(Math.max(0, utcMs - wroteMs));
    if (steps) {
      parts['waited and kept']!.push(steps.kept_us!);
      parts['computed']!.push(steps.step_us! + steps.advance_us! + steps.told_us!);
    }
    parts['message made']!.push(made - utcMs);
    parts['arrived in the page']!.push(message.atMs - made);
    parts['painted']!.push(picture.paintedMs - message.atMs);
    parts['shown (next frame)']!.push(picture.shownMs - picture.paintedMs);
    painted.push(picture.paintedMs - wroteMs);
    shown.push(picture.shownMs - wroteMs);
    if (picture.paintedMs - wroteMs > 12) {
      slow.push(`${(t_s - read_s[0]!).toFixed(2)} s: ` + JSON.stringify(steps) + ` made ${(made - utcMs).toFixed(1)} arrived ${(message.atMs - made).toFixed(1)} painted ${(picture.paintedMs - message.atMs).toFixed(1)}`);
    }
  }
  expect(shown.length).toBeGreaterThan(0.9 * read_s.length);
  const rate = read_s.length / (read_s.at(-1)! - read_s[0]!);
  const text = [
    `From the last byte of a frame to the page, ${shown.length} of ${read_s.length} good frames at ${rate.toFixed(1)} a second, ms:`,
    '',
    '| | median | 90 % | 99 % | greatest |',
    '|---|---|---|---|---|',
    row('**last byte to painted picture**', painted),
    row('**last byte to picture handed over for display**', shown),
    ...Object.entries(parts).map(([name, all]) => row(name, all)),
  ].join('\n');
  console.log(text);
  if (process.env.SLOW) console.log(slow.join('\n'));
  mkdirSync(join(top, 'tests/out'), { recursive: true });
  writeFileSync(join(top, 'tests/out/latency.md'), text + '\n');
  await station.end();
  radio.end();
  place.remove();
});
