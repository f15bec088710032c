// A live page's socket, kept with its times, and played into other pages: the same seconds of the same flight at every
// size and in every theme, however long a picture takes.
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser, Page } from '@playwright/test';
import { top } from '../harness.ts';

interface Kept {
  /** Milliseconds since the page was opened. */
  at: number;
  text: string;
}

interface Column {
  body: number;
  t_s: number[];
  [name: string]: number | (number | null)[];
}

/** What a page heard of one flight. */
export class Session {
  readonly kept: Kept[] = [];
  private track: { bodies: Column[] } = { bodies: [] };
  private page: Page | null = null;
  private readonly begun = Date.now();

  private constructor(readonly address: string) {}

  static async listen(browser: Browser, address: string): Promise<Session> {
    const session = new Session(address);
    const page = (session.page = await browser.newPage());
    page.on('websocket', (socket) =>
      socket.on('framereceived', ({ payload }) => {
        const text = payload.toString();
        if (!text.includes('"kind":"pong"')) session.kept.push({ at: Date.now() - session.begun, text });
      }),
    );
    await page.goto(address);
    return session;
  }

  /** Listens no more, and gets what the station has kept of the flight. */
  async end(): Promise<void> {
    const answer = await this.page?.request.get(`${this.address}/api/flights/current/track?most=4000`);
    this.track = answer?.ok() ? await answer.json() : { bodies: [] };
    await this.page?.close();
  }

  /** So that single pictures can be taken again without flying. */
  save(file: string): void {
    writeFileSync(file, JSON.stringify({ kept: this.kept, track: this.track }));
  }

  static load(file: string, address: string): Session {
    const { kept, track } = JSON.parse(readFileSync(file, 'utf8'));
    const session = new Session(address);
    session.kept.push(...kept);
    session.track = track;
    return session;
  }

  /** Station time of the first message that a test accepts, and its place among the kept ones, ms. */
  find(wanted: (now: Now) => boolean): { t_s: number; at: number } {
    for (const { at, text } of this.kept) {
      if (!text.startsWith('{"kind":"now"')) continue;
      const now = JSON.parse(text) as Now;
      if (wanted(now)) return { t_s: now.t_s, at };
    }
    throw new Error(`none of ${this.kept.length} messages is of that moment`);
  }

  /** Plays into a page what was heard from `from` ms on, as if it came now; `until` ms the line goes dead. */
  async play(page: Page, from: number, until = Infinity): Promise<void> {
    let opened = 0;
    const time = (): number => from + Date.now() - opened;
    await page.routeWebSocket(/\/api\/socket/, (socket) => {
      // A line that has gone dead stays so: an attempt gets no answer.
      if (opened && time() > until) return void socket.close();
      opened ||= Date.now();
      const first = this.at(time());
      // Station time of the page: the newest message's, and what has gone by since.
      socket.onMessage((text) => {
        const ask = JSON.parse(text.toString());
        if (ask.kind !== 'ping' || time() > until) return;
        socket.send(JSON.stringify({ kind: 'pong', id: ask.id, sent_ms: ask.sent_ms, t_s: this.stationTime(time()) }));
      });
      for (const text of first) socket.send(text);
      let next = this.kept.findIndex(({ at }) => at > time());
      const timer = setInterval(() => {
        if (time() > until) {
          clearInterval(timer);
          void socket.close();
          return;
        }
        for (; next >= 0 && next < this.kept.length && this.kept[next]!.at <= time(); next += 1) socket.send(this.kept[next]!.text);
      }, 10);
      socket.onClose(() => clearInterval(timer));
    });
    // A debug build knows the names of the pages that it was built with; these are the ones that were built last.
    await page.route(
      (url) => !url.pathname.startsWith('/api/'),
      (route) => {
        const { pathname } = new URL(route.request().url());
        return route.fulfill({ path: join(top, 'web/dist', pathname === '/' ? 'index.html' : pathname) });
      },
    );
    await page.route(/\/api\/flights\/current\/track/, (route) => {
      const t_s = this.stationTime(opened ? time() : from);
      const bodies = this.track.bodies.map((column) => {
        const count = column.t_s.filter((at) => at <= t_s).length;
        return Object.fromEntries(Object.entries(column).map(([name, value]) => [name, Array.isArray(value) ? value.slice(0, count) : value]));
      });
      return route.fulfill({ json: { bodies } });
    });
  }

  /** The newest message of each kind at a time. */
  private at(ms: number): string[] {
    const newest = new Map<string, string>();
    for (const { at, text } of this.kept) {
      if (at > ms) break;
      newest.set(text.slice(0, 16), text);
    }
    return [...newest.values()];
  }

  private stationTime(ms: number): number {
    let found: { at: number; t_s: number } | null = null;
    for (const { at, text } of this.kept) {
      if (at > ms && found) break;
      const t_s = /"t_s":([\d.]+)/.exec(text.startsWith('{"kind":"now"') ? text : '')?.[1];
      if (t_s) found = { at, t_s: Number(t_s) };
    }
    return found ? found.t_s + (ms - found.at) / 1000 : 0;
  }
}

/** As much of the message as scenes look for. */
export interface Now {
  t_s: number;
  liftoff_t_s: number | null;
  silent_since_s: number | null;
  headsups: unknown[];
  bodies: { phase: string; descent: string | null; attached: boolean }[];
}
