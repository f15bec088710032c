// A picture of every phase, of silence, of four bodies, of no GNSS and of a reconnect, at three sizes in both themes, for
// eyes: `cargo pictures` leaves them in tests/out/pictures. Nothing is asserted but that each page shows a sentence.
// LOFTWATCH_PICTURES=04,coast takes those pictures alone, of the flights flown last.
import { gunzipSync } from 'node:zlib';
import { existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test, type Browser } from '@playwright/test';
import { Radio, Station, folder, sizes, top } from '../harness.ts';
import { Session, type Now } from './session.ts';

test.describe.configure({ mode: 'serial' });
test.setTimeout(1_800_000);

const out = join(top, 'tests/out/pictures');
const wanted = (process.env.LOFTWATCH_PICTURES ?? '').split(',').filter(Boolean);

interface Scene {
  name: string;
  session: string;
  /** The moment: that of the first message of the kind, and so many seconds later. */
  when: (now: Now) => boolean;
  later_s?: number;
  /** The line goes dead at that moment, and the picture is taken so much later, s. */
  dead_s?: number;
  /** All of the page instead of what the window shows. */
  full?: boolean;
}

const phase = (wanted: string, index = 0) => (now: Now) => now.bodies[index]?.phase === wanted;
const SCENES: Scene[] = [
  { name: '01-pad', session: 'whole', when: phase('waiting'), later_s: 2 },
  { name: '02-powered', session: 'whole', when: phase('powered'), later_s: 1.2 },
  { name: '03-burnout', session: 'whole', when: phase('coasting'), later_s: 0.4 },
  { name: '04-coast', session: 'whole', when: phase('coasting'), later_s: 3 },
  { name: '05-apogee', session: 'whole', when: phase('descending'), later_s: 0.3 },
  { name: '06-four-bodies', session: 'whole', when: (now) => now.bodies.every((b) => !b.attached), later_s: 3 },
  { name: '07-drogue', session: 'whole', when: (now) => now.bodies[0]?.descent === 'drogue', later_s: 8 },
  { name: '08-main', session: 'whole', when: (now) => now.bodies[0]?.descent === 'main', later_s: 4 },
  { name: '09-down-one', session: 'whole', when: phase('down'), later_s: 1 },
  { name: '10-down-all', session: 'whole', when: (now) => now.bodies.every((b) => b.phase === 'down'), later_s: 3, full: true },
  { name: '11-silent-early', session: 'silent', when: (now) => now.silent_since_s !== null, later_s: 1.5 },
  { name: '12-silent-long', session: 'silent', when: (now) => now.silent_since_s !== null, later_s: 13 },
  { name: '13-no-gnss-pad', session: 'blind', when: phase('waiting'), later_s: 2 },
  { name: '14-no-gnss-coast', session: 'blind', when: phase('coasting'), later_s: 4 },
  { name: '15-no-gnss-descent', session: 'blind', when: phase('descending'), later_s: 4, full: true },
  { name: '16-no-station', session: 'whole', when: phase('coasting'), later_s: 3, dead_s: 4 },
  { name: '17-all-of-coast', session: 'whole', when: phase('coasting'), later_s: 3, full: true },
];

interface Flown {
  session: Session;
  station: Station;
}
const flown: Record<string, Flown> = {};
const place = folder(true);

/** Flies a recording, wholly or until so long after liftoff, and keeps what a page hears of it. */
async function fly(browser: Browser, name: string, recording: string, setup: string, from_s: number, to_s: number, wait_s: number) {
  const own = join(place.path, `${name}.toml`);
  const radio = await Radio.start({ recording, setup }, own);
  const station = await Station.start(own, join(place.path, name));
  const kept = join(top, `tests/out/session-${name}.json`);
  if (wanted.length > 0 && existsSync(kept)) {
    radio.end();
    flown[name] = { session: Session.load(kept, station.address), station };
    return;
  }
  const session = await Session.listen(browser, station.address);
  radio.play(from_s, to_s);
  await new Promise((done) => setTimeout(done, (to_s - from_s + wait_s) * 1000));
  await session.end();
  session.save(kept);
  radio.end();
  flown[name] = { session, station };
}

test.beforeAll(async ({ browser }) => {
  test.setTimeout(300_000);
  if (wanted.length === 0) rmSync(out, { recursive: true, force: true });
  mkdirSync(out, { recursive: true });
  const demo = join(top, 'demo-data/tall-order');
  const tall = JSON.parse(readFileSync(join(demo, 'truth.json'), 'utf8'));
  const liftoff = tall.liftoff_t_s;
  const landed = Math.max(...tall.bodies.map((b: { landing: { t_s: number } }) => b.landing.t_s));
  const tallFlight = [join(demo, 'flight.jsonl'), join(demo, 'setup.toml')] as const;
  const blind = join(top, 'tests/flights/no_gnss/1');
  const recording = join(place.path, 'blind.jsonl');
  writeFileSync(recording, gunzipSync(readFileSync(join(blind, 'recording.jsonl.gz'))));
  await Promise.all([
    fly(browser, 'whole', ...tallFlight, liftoff - 6, landed + 12, 4),
    // All radios fall silent shortly after burnout.
    fly(browser, 'silent', ...tallFlight, liftoff - 6, tall.bodies[0].events.burnout + 0.8, 16),
    fly(browser, 'blind', recording, join(blind, 'setup.toml'), 4, 29, 2),
  ]);
});

test.afterAll(async () => {
  for (const { station } of Object.values(flown)) await station.end();
  place.remove();
});

for (const scene of SCENES.filter(({ name }) => wanted.length === 0 || wanted.some((part) => name.includes(part)))) {
  test(scene.name, async ({ browser }) => {
    const { session } = flown[scene.session]!;
    const moment = session.find(scene.when).at + (scene.later_s ?? 0) * 1000;
    for (const [size, viewport] of Object.entries(sizes))
      for (const theme of ['sun', 'night']) {
        const context = await browser.newContext({ viewport, serviceWorkers: 'block' });
        const page = await context.newPage();
        await page.addInitScript((chosen) => localStorage.setItem('loftwatch.theme', chosen), theme);
        // The page has two seconds to come to rest before the moment.
        await session.play(page, moment - 2000, scene.dead_s === undefined ? Infinity : moment);
        await page.goto(session.address);
        await page.waitForTimeout(2000 + (scene.dead_s ?? 0) * 1000);
        await expect(page.getByRole('heading', { level: 1 })).not.toBeEmpty();
        await page.screenshot({ path: join(out, `${scene.name}-${size}-${theme}.png`), fullPage: scene.full ?? false });
        await context.close();
      }
  });
}
