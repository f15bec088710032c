// One socket to the station, live, for a private replay or for the show: connects, comes back, catches up, knows the time.
// `now` is the newest message; `shown` follows it at most four times a second, for everything that is read as text.
import { getTrack, type FlightRef } from './api';
import { pauseMs } from './backoff';
import { StationClock } from './clock';
import type { Ask, Message, Now, Picture, ShowNow, Story } from './messages';
import { Past } from './past';

/** Figures step at most this often. */
export const STEP_MS = 250;
/** Without a message they step by themselves after this long; how often that is looked for. */
const LATE_MS = 350;
const LOOK_MS = 125;
/** So long after a new connection the wheel of the show may still be with the old one. */
const BACK_MS = 10_000;
/** Nothing heard for this long: the line is dead, whatever the socket says. */
const DEAD_MS = 2200;
/** A replay is carried on by the page's clock for at most so long after a message: the station speaks every second, s. */
const ALONE_S = 2;
/** On waking a socket that has been quiet for this long is not waited for: a live one speaks every second. */
const QUIET_MS = 1500;
const PING_MS = 1000;
/** A page of a replay asks for the time a few times more as soon as it is there: it is to be in step at once. */
const FIRST_PINGS_MS = [80, 200, 400, 700];
const POINTS = 1200;

export class Station {
  now = $state.raw<Now | null>(null);
  shown = $state.raw<Now | null>(null);
  picture = $state.raw<Picture | null>(null);
  story = $state.raw<Story | null>(null);
  /** Station time, stepped with `shown`. */
  time = $state(0);
  lost = $state(false);
  /** The show, on its own socket. */
  show = $state.raw<ShowNow | null>(null);
  /** Counts changes of the past that did not come with a message. */
  pastEdition = $state(0);
  readonly past = new Past();

  private readonly clock = new StationClock();
  private readonly path: string;
  /** Whose track is the past; in the show it may change. */
  private flight: FlightRef | null;
  private listeners: (() => void)[] = [];
  /** The newest of what is published with the next step. */
  private newest: { picture: Picture | null; story: Story | null } = { picture: null, story: null };
  private socket: WebSocket | null = null;
  private attempt = 0;
  /** Whether this page has asked for the wheel of the show and not let it go. */
  private holds = false;
  /** When this connection was opened. */
  private openedMs = 0;
  private arrivedMs = 0;
  private heardMs = 0;
  /** The same by the clock on the wall: the other one stands still while some devices sleep. */
  private heardWallMs = 0;
  private steppedMs = 0;
  private stepping = false;
  private pingId = 0;
  private filling = false;
  /** Asked for again while an answer was under way. */
  private wanted = false;
  private phase = '';
  private timers: ReturnType<typeof setInterval>[] = [];
  private again: ReturnType<typeof setTimeout> | undefined;

  constructor(flight: FlightRef | 'show' = 'current') {
    this.flight = flight === 'show' ? null : flight;
    this.path =
      flight === 'current'
        ? '/api/socket'
        : flight === 'show'
          ? '/api/show/socket'
          : `/api/flights/${flight}/socket`;
  }

  /** Connects; the returned function ends it all. */
  start(): () => void {
    this.connect();
    // The past of a stored flight need not wait for its socket.
    if (typeof this.flight === 'number') void this.fill(null);
    this.timers = [
      setInterval(() => this.ping(), PING_MS),
      setInterval(() => {
        this.watch();
        if (performance.now() - this.steppedMs >= LATE_MS) this.step();
      }, LOOK_MS),
    ];
    const wake = (): void => {
      if (document.visibilityState === 'visible') this.wake();
    };
    document.addEventListener('visibilitychange', wake);
    window.addEventListener('online', wake);
    return () => {
      document.removeEventListener('visibilitychange', wake);
      window.removeEventListener('online', wake);
      this.timers.forEach(clearInterval);
      clearTimeout(this.again);
      this.drop();
    };
  }

  /** Calls back as soon as a message has come, before the next frame. */
  onMessage(listener: () => void): () => void {
    this.listeners.push(listener);
    return () => {
      this.listeners = this.listeners.filter((other) => other !== listener);
    };
  }

  /** The newest of what steps with the figures, at once. */
  get latest(): { picture: Picture | null; story: Story | null } {
    return this.newest;
  }

  /** Station time at this instant: live by the clock, in a replay by its rate. */
  timeAt(nowMs: number): number {
    const now = this.now;
    if (!now) return 0;
    const at = this.clock.at(nowMs);
    if (now.mode === 'live' && now.speed === 1) return at ?? now.t_s;
    // By the station's clock all pages are in step; the time of arrival differs from page to page.
    const since = at !== null && now.played_s !== null ? at - now.played_s : (nowMs - this.arrivedMs) / 1000;
    return now.t_s + Math.min(Math.max(0, since), ALONE_S) * now.speed;
  }

  play(speed: number): void {
    this.send({ kind: 'play', speed });
  }

  seek(t_s: number): void {
    this.send({ kind: 'seek', t_s });
  }

  /** To the next reading, or the one before. */
  stepBy(forward: boolean): void {
    this.send({ kind: 'step', forward });
  }

  /** Takes the wheel of the show, or lets it go. */
  drive(wheel: boolean): void {
    this.holds = wheel;
    this.send({ kind: 'drive', wheel });
  }

  private connect(): void {
    const scheme = location.protocol === 'https:' ? 'wss:' : 'ws:';
    const socket = new WebSocket(`${scheme}//${location.host}${this.path}`);
    this.socket = socket;
    // An attempt has as long as a silence may last.
    this.heardMs = performance.now();
    socket.onopen = () => {
      this.clock.reset();
      this.openedMs = performance.now();
      this.ping();
      if (this.path !== '/api/socket') for (const ms of FIRST_PINGS_MS) setTimeout(() => this.ping(), ms);
      // What is under way since the start is all of it.
      if (!(this.filling && typeof this.flight === 'number')) void this.fill(this.past.newestS);
    };
    socket.onmessage = (event) => this.receive(event.data as string);
    socket.onclose = () => {
      if (this.socket === socket) this.reconnect();
    };
  }

  private reconnect(): void {
    this.drop();
    this.lost = true;
    clearTimeout(this.again);
    this.again = setTimeout(() => this.connect(), pauseMs(this.attempt));
    this.attempt += 1;
  }

  private drop(): void {
    const socket = this.socket;
    this.socket = null;
    socket?.close();
  }

  private receive(text: string): void {
    const nowMs = performance.now();
    const message = JSON.parse(text) as Message;
    this.heardMs = nowMs;
    this.heardWallMs = Date.now();
    this.attempt = 0;
    this.lost = false;
    switch (message.kind) {
      case 'pong':
        this.clock.pong(message.sent_ms, nowMs, message.t_s);
        return;
      case 'picture':
        this.newest.picture = message;
        return;
      case 'story':
        this.newest.story = message;
        return;
      case 'show':
        this.takeShow(message);
        return;
      case 'now':
        this.take(message, nowMs);
        break;
      default:
        return;
    }
    this.listeners.forEach((listener) => listener());
  }

  private take(message: Now, nowMs: number): void {
    this.arrivedMs = nowMs;
    if (message.played_s !== null) this.clock.heard(nowMs, message.played_s);
    if (message.mode === 'live') {
      this.clock.heard(nowMs, message.t_s);
      const known = this.past.flight;
      if (this.past.append(message)) void this.fill(null);
      // The track is better than what was shown live: fetched again when a flight or a phase begins.
      const phase = message.bodies[0]?.phase ?? '';
      if (known !== this.past.flight || phase !== this.phase) void this.fill(null);
      this.phase = phase;
    }
    this.now = message;
    if (!this.shown) this.step();
    else if (nowMs - this.steppedMs >= STEP_MS) this.stepAfterFrame();
  }

  /** Another flight in the show: everything of the one before goes. */
  private takeShow(show: ShowNow): void {
    const changed = show.flight !== this.show?.flight;
    this.show = show;
    // A connection that broke let the wheel go: it is taken again, unless somebody else has it meanwhile. For a moment that
    // somebody may still be this page by its old connection.
    const back = performance.now() - this.openedMs < BACK_MS;
    if (show.flight === null || (!show.you_drive && show.driver !== null && !back)) this.holds = false;
    else if (this.holds && back && show.driver === null) this.drive(true);
    if (!changed) return;
    this.flight = show.flight;
    this.past.clear();
    this.pastEdition += 1;
    this.now = null;
    this.newest = { picture: null, story: null };
    this.step();
    void this.fill(null);
  }

  /** Laying out and writing takes longer than a frame has: it follows the frame that shows the message, so that it holds
   * up neither that one nor, as a timer's step would, a message that comes meanwhile. */
  private stepAfterFrame(): void {
    if (this.stepping) return;
    this.stepping = true;
    requestAnimationFrame(() =>
      setTimeout(() => {
        this.stepping = false;
        if (performance.now() - this.steppedMs >= STEP_MS) this.step();
      }, 0),
    );
  }

  private step(): void {
    const nowMs = performance.now();
    this.steppedMs = nowMs;
    this.shown = this.now;
    this.picture = this.newest.picture;
    this.story = this.newest.story;
    this.time = this.timeAt(nowMs);
  }

  private ping(): void {
    this.pingId += 1;
    this.send({ kind: 'ping', id: this.pingId, sent_ms: performance.now() });
  }

  /** Gives up a socket that has said nothing for too long. While a pause before the next attempt runs, there is none. */
  private watch(): void {
    if (this.socket && performance.now() - this.heardMs > DEAD_MS) this.reconnect();
  }

  private send(ask: Ask): void {
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify(ask));
  }

  /** The device was asleep, or has a network again: the clock may have stopped, and much may have passed. */
  private wake(): void {
    this.clock.reset();
    // A socket that is open may have been dead for long: after a silence a new one is quicker than finding that out.
    const quiet = performance.now() - this.heardMs > QUIET_MS || Date.now() - this.heardWallMs > QUIET_MS;
    if (this.socket?.readyState === WebSocket.OPEN && !quiet) {
      this.heardMs = performance.now();
      this.ping();
      void this.fill(null);
    } else {
      clearTimeout(this.again);
      this.drop();
      this.connect();
    }
  }

  /** Gets the past from the station, from an instant on or all of it. A failure is tried again at the next gap. */
  private async fill(fromS: number | null): Promise<void> {
    if (this.flight === null) return;
    if (this.filling) {
      this.wanted = true;
      return;
    }
    this.filling = true;
    try {
      const asked = this.flight;
      const track = await getTrack(asked, fromS, POINTS);
      if (asked === this.flight) {
        this.past.fill(track);
        this.pastEdition += 1;
      }
    } catch {
      // The socket says whether the station is there; the line keeps its gap until the next attempt.
    } finally {
      this.filling = false;
    }
    if (this.wanted) {
      this.wanted = false;
      await this.fill(null);
    }
  }
}
