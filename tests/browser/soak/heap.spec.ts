// Hours of watching without growth: the demo flies again and again before one page, whose heap, after its garbage has been
// collected, is measured all the while. Flights differ in what the page holds, so the least of each quarter of the time is
// compared: what stays for good raises that one too.
import { spawn } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { expect, test } from '@playwright/test';
import { folder, sizes, top } from '../harness.ts';

/** How long the page watches, minutes, and how fast the demo flies. */
const MINUTES = Number(process.env.LOFTWATCH_MINUTES ?? 120);
const SPEED = process.env.LOFTWATCH_SPEED ?? '1';
/** What a page may hold more in the last quarter than in the second one. The first has the page warm up. */
const MOST_SHARE = 0.1;
const MOST_MB = 1;
test.setTimeout((MINUTES + 5) * 60_000);

test('a page that watches for hours does not grow', async ({ browser }) => {
  const place = folder();
  const program = process.env.LOFTWATCH!;
  const station = spawn(program, ['demo', '--speed', SPEED, '--listen', '127.0.0.1:0', '--data', place.path]);
  const address = await new Promise<string>((found) => {
    const read = (text: string): void => {
      const at = /http:\/\/127\.0\.0\.1:\d+/.exec(text);
      if (at) found(at[0]);
    };
    createInterface({ input: station.stdout }).on('line', read);
    createInterface({ input: station.stderr }).on('line', read);
  });
  const context = await browser.newContext({ viewport: sizes.laptop });
  const page = await context.newPage();
  const devtools = await context.newCDPSession(page);
  await devtools.send('Performance.enable');
  await page.goto(address);

  const rows: { minute: number; heap_mb: number; nodes: number; listeners: number }[] = [];
  const begun = Date.now();
  const samples = 40;
  for (let nth = 1; nth <= samples; nth += 1) {
    await page.waitForTimeout(Math.max(0, begun + (MINUTES * 60_000 * nth) / samples - Date.now()));
    await devtools.send('HeapProfiler.collectGarbage');
    const { usedSize } = await devtools.send('Runtime.getHeapUsage');
    const { metrics } = await devtools.send('Performance.getMetrics');
    const of = (name: string): number => metrics.find((metric) => metric.name === name)?.value ?? 0;
    const minute = (Date.now() - begun) / 60_000;
    rows.push({ minute, heap_mb: usedSize / 1e6, nodes: of('Nodes'), listeners: of('JSEventListeners') });
  }
  const sentence = await page.locator('h1').first().textContent();
  await context.close();
  const gone = new Promise((done) => station.once('exit', done));
  station.kill('SIGTERM');
  await gone;
  place.remove();

  const quarter = (nth: number) => rows.slice(((nth - 1) * samples) / 4, (nth * samples) / 4);
  const least = (nth: number, of: 'heap_mb' | 'nodes' | 'listeners') => Math.min(...quarter(nth).map((row) => row[of]));
  const lines = [
    `${MINUTES} minutes of watching the demo at ${SPEED} times its pace; the least of each quarter of the time:`,
    '',
    '| quarter | heap, MB | nodes | listeners |',
    '|---|---|---|---|',
    ...[1, 2, 3, 4].map(
      (nth) => `| ${nth} | ${least(nth, 'heap_mb').toFixed(2)} | ${least(nth, 'nodes')} | ${least(nth, 'listeners')} |`,
    ),
  ];
  mkdirSync(join(top, 'tests/out'), { recursive: true });
  writeFileSync(join(top, 'tests/out/heap.md'), `${lines.join('\n')}\n`);
  console.log(lines.join('\n'));
  expect(sentence).not.toContain('Waiting');
  expect(least(4, 'heap_mb')).toBeLessThan(least(2, 'heap_mb') * (1 + MOST_SHARE) + MOST_MB);
  expect(least(4, 'nodes')).toBeLessThan(least(2, 'nodes') * (1 + MOST_SHARE) + 50);
  expect(least(4, 'listeners')).toBeLessThan(least(2, 'listeners') * (1 + MOST_SHARE) + 20);
});
