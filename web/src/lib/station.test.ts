import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest';
import { now, T0 } from './fixtures';
import { Station } from './station.svelte';

/** A socket that the test holds both ends of. */
class FakeSocket {
  static readonly OPEN = 1;
  static made: FakeSocket[] = [];
  readyState = 0;
  sent: string[] = [];
  onopen: (() => void) | null = null;
  onmessage: ((event: { data: string }) => void) | null = null;
  onclose: (() => void) | null = null;

  constructor(readonly url: string) {
    FakeSocket.made.push(this);
  }

  open(): void {
    this.readyState = FakeSocket.OPEN;
    this.onopen?.();
  }

  say(message: object): void {
    this.onmessage?.({ data: JSON.stringify(message) });
  }

  send(text: string): void {
    this.sent.push(text);
  }

  close(): void {
    this.readyState = 3;
  }
}

const last = (): FakeSocket => {
  const socket = FakeSocket.made.at(-1);
  if (!socket) throw new Error('no socket was made');
  return socket;
};
const live = (t: number) => ({ kind: 'now', ...now({ t_s: T0 + t }) });
const empty = { ok: true, json: () => Promise.resolve({ bodies: [] }) };

describe('the page and its station', () => {
  let station: Station;
  let end: () => void;
  let visible: () => void;

  beforeEach(() => {
    vi.useFakeTimers();
    FakeSocket.made = [];
    const events = {
      addEventListener: (_: string, f: () => void) => (visible = f),
      removeEventListener: () => undefined,
    };
    vi.stubGlobal('WebSocket', FakeSocket);
    vi.stubGlobal('requestAnimationFrame', (then: () => void) => setTimeout(then, 16));
    vi.stubGlobal('location', { protocol: 'http:', host: 'pad.local' });
    vi.stubGlobal('document', { ...events, visibilityState: 'visible' });
    vi.stubGlobal('window', { addEventListener: () => undefined, removeEventListener: () => undefined });
    vi.stubGlobal(
      'fetch',
      vi.fn(() => Promise.resolve(empty)),
    );
    station = new Station();
    end = station.start();
  });

  afterEach(() => {
    end();
    vi.useRealTimers();
    vi.unstubAllGlobals();
  });

  it('asks the live socket, and catches up by the track', async () => {
    expect(last().url).toBe('ws://pad.local/api/socket');
    last().open();
    last().say(live(1));
    await vi.advanceTimersByTimeAsync(300);
    expect(station.shown?.t_s).toBe(T0 + 1);
    expect(station.lost).toBe(false);
    expect(fetch).toHaveBeenCalledWith(
      expect.stringContaining('/api/flights/current/track?'),
      expect.anything(),
    );
  });

  it('says within three seconds that a station which only fell silent is lost', async () => {
    last().open();
    last().say(live(1));
    await vi.advanceTimersByTimeAsync(2000);
    expect(station.lost).toBe(false);
    await vi.advanceTimersByTimeAsync(1000);
    expect(station.lost).toBe(true);
  });

  it('keeps trying for minutes, and is back as soon as the station is', async () => {
    last().open();
    last().onclose?.();
    expect(station.lost).toBe(true);
    for (let i = 0; i < 60; i += 1) {
      await vi.advanceTimersByTimeAsync(2000);
      const socket = last();
      if (socket.readyState === 0) {
        socket.readyState = 3;
        socket.onclose?.();
      }
    }
    // Two minutes at pauses of at most four seconds.
    expect(FakeSocket.made.length).toBeGreaterThan(25);
    const before = FakeSocket.made.length;
    await vi.advanceTimersByTimeAsync(4000);
    expect(FakeSocket.made.length).toBeGreaterThan(before);
    last().open();
    last().say(live(5));
    expect(station.lost).toBe(false);
  });

  it('shows text at most four times a second, and the newest', async () => {
    last().open();
    const shown = new Set<number | undefined>();
    for (let i = 0; i < 40; i += 1) {
      last().say(live(i * 0.05));
      shown.add(station.shown?.t_s);
      await vi.advanceTimersByTimeAsync(50);
    }
    expect(shown.size).toBeLessThanOrEqual(9);
    expect(shown.size).toBeGreaterThanOrEqual(6);
    expect(station.now?.t_s).toBeCloseTo(T0 + 1.95, 6);
  });

  it('comes back current from a sleep', () => {
    last().open();
    last().say(live(1));
    const pings = last().sent.length;
    visible();
    expect(last().sent.length).toBe(pings + 1);
    last().readyState = 3;
    visible();
    expect(FakeSocket.made.length).toBe(2);
  });

  it('does not wait for a socket that slept: it may be dead, and a second is all there is', () => {
    last().open();
    last().say(live(1));
    vi.setSystemTime(Date.now() + 60_000);
    visible();
    expect(FakeSocket.made.length).toBe(2);
    last().open();
    last().say(live(61));
    expect(station.now?.t_s).toBe(T0 + 61);
    visible();
    expect(FakeSocket.made.length, 'a glance away costs no new socket').toBe(2);
  });

  it('in a replay counts time from when the station played it, not from when the message came', () => {
    last().open();
    const played = (played_s: number) => ({ ...live(10), mode: 'replay', speed: 5, played_s });
    const pong = { kind: 'pong', id: 1, sent_ms: performance.now(), t_s: 500 };
    last().say(pong);
    // Played 0.1 s ago by the station's clock, which is at 500 s now.
    last().say(played(499.9));
    expect(station.timeAt(performance.now()) - (T0 + 10)).toBeCloseTo(0.5, 3);
    // A station that says nothing more is not run away from.
    expect(station.timeAt(performance.now() + 60_000) - (T0 + 10)).toBeCloseTo(10, 3);
  });

  it('in a replay counts time by its rate', () => {
    last().open();
    const message = live(10);
    last().say({ ...message, mode: 'replay', speed: 5 });
    const at = performance.now();
    expect(station.timeAt(at + 1000) - station.timeAt(at)).toBeCloseTo(5, 6);
  });
});
