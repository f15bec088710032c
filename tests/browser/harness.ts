// Starts the built program with a radio made of pseudo-terminals, and ends both. One station a test file.
import { spawn, type ChildProcess } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { createInterface, type Interface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import type { Page } from '@playwright/test';

export const top = resolve(dirname(fileURLToPath(import.meta.url)), '../..');

/** Sizes that every page is looked at. */
export const sizes = {
  phone: { width: 390, height: 844 },
  laptop: { width: 1366, height: 768 },
  projector: { width: 1920, height: 1080 },
} as const;

/** The next line of a program that says so, or an error with what it said instead. */
function line(lines: Interface, wanted: (text: string) => boolean, what: string): Promise<string> {
  const said: string[] = [];
  return new Promise((found, failed) => {
    const timer = setTimeout(() => failed(new Error(`${what}: not within 60 s\n${said.join('\n')}`)), 60_000);
    const read = (text: string) => {
      said.push(text);
      if (!wanted(text)) return;
      clearTimeout(timer);
      lines.off('line', read);
      found(text);
    };
    lines.on('line', read);
  });
}

/** A recording and the setup that it was made with. */
export interface Flight {
  recording: string;
  setup: string;
}

/** A radio: plays one recording, of demo-data where only a name is given, into pseudo-terminals. */
export class Radio {
  private process: ChildProcess;
  private lines: Interface;
  private constructor(
    process: ChildProcess,
    readonly ports: Record<string, string>,
    lines: Interface,
  ) {
    this.process = process;
    this.lines = lines;
  }

  static async start(flight: string | Flight, setupOut: string): Promise<Radio> {
    const demo = (name: string): Flight => {
      const folder = join(top, 'demo-data', name);
      return { recording: join(folder, 'flight.jsonl'), setup: join(folder, 'setup.toml') };
    };
    const { recording, setup } = typeof flight === 'string' ? demo(flight) : flight;
    const process = spawn('python3', [
      join(top, 'tests/faults/feed.py'),
      recording,
      '--setup',
      setup,
      '--setup-out',
      setupOut,
    ]);
    const lines = createInterface({ input: process.stdout! });
    const first = JSON.parse(await line(lines, (text) => text.startsWith('{'), 'radio'));
    return new Radio(process, first.ports, lines);
  }

  private order(what: object) {
    this.process.stdin!.write(JSON.stringify(what) + '\n');
  }

  /** Plays from one second of the recording to another, in real time. */
  play(from_s: number, to_s = 1e9) {
    this.order({ do: 'play', from_s, to_s });
  }
  silence() {
    this.order({ do: 'stop' });
  }
  /** Writes bytes to a link; answers when the last one was written, in this machine's milliseconds. */
  async write(link: string, bytes: Uint8Array): Promise<number> {
    const answer = line(this.lines, (text) => text.includes('wrote_ms'), 'write');
    this.order({ do: 'write', link, bytes: Buffer.from(bytes).toString('base64') });
    return JSON.parse(await answer).wrote_ms;
  }
  end() {
    this.process.kill();
  }
}

/** The built program, serving a setup. */
export class Station {
  said: string[] = [];
  private constructor(
    private process: ChildProcess,
    readonly address: string,
  ) {}

  static async start(
    setup: string,
    data: string,
    listen = '127.0.0.1:0',
    env: Record<string, string> = {},
    further: string[] = [],
    program = process.env.LOFTWATCH,
  ): Promise<Station> {
    if (!program) throw new Error('name the built program in the variable LOFTWATCH');
    const child = spawn(program, ['serve', '--setup', setup, '--data', data, '--listen', listen, ...further], {
      env: { ...process.env, ...env },
    });
    const both = [child.stdout!, child.stderr!].map((stream) => createInterface({ input: stream }));
    const said: string[] = [];
    both.forEach((lines) => lines.on('line', (text) => said.push(text)));
    const address = await Promise.race(both.map((lines) => line(lines, (text) => /http:\/\/127/.test(text), 'station')));
    const station = new Station(child, /http:\/\/127\.0\.0\.1:\d+/.exec(address)![0]);
    station.said = said;
    return station;
  }

  /** Lets the station stand still, as on a network that carries nothing any more. */
  hold() {
    this.process.kill('SIGSTOP');
  }
  release() {
    this.process.kill('SIGCONT');
  }
  kill() {
    this.process.kill('SIGKILL');
  }
  async end() {
    if (this.process.exitCode !== null || this.process.signalCode !== null) return;
    const ended = new Promise((done) => this.process.once('exit', done));
    this.process.kill('SIGTERM');
    await ended;
  }
}

/** A folder of its own that is gone afterwards; in memory where the pauses of a busy disk are not what is tried. */
export function folder(inMemory = false): { path: string; remove: () => void } {
  const base = inMemory && existsSync('/dev/shm') ? '/dev/shm' : tmpdir();
  const path = mkdtempSync(join(base, 'loftwatch-browser-'));
  return { path, remove: () => rmSync(path, { recursive: true, force: true }) };
}

/** Fails a test on any request that leaves the station, and on any error of the page. */
export function watchful(page: Page, address: string): string[] {
  const complaints: string[] = [];
  const own = new URL(address).host;
  page.on('request', (request) => {
    const url = new URL(request.url());
    if (!['data:', 'blob:'].includes(url.protocol) && url.host !== own) complaints.push(`request to ${url.href}`);
  });
  page.on('pageerror', (error) => complaints.push(`error: ${error.message}`));
  page.on('console', (message) => {
    if (message.type() === 'error') complaints.push(`console: ${message.text()}`);
  });
  return complaints;
}

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

/** What axe finds wrong with a page by WCAG 2.2 AA and good practice, and by further rules where they are named. */
export async function problems(page: Page, ...further: string[]): Promise<string[]> {
  await page.evaluate(axe);
  const rules = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice', ...further];
  return page.evaluate(async (runOnly) => {
    // @ts-expect-error axe is put into the page above
    const result = await window.axe.run(document, { runOnly });
    return result.violations.map((v: { id: string; nodes: { target: string[] }[] }) => `${v.id}: ${v.nodes[0]?.target}`);
  }, rules);
}
